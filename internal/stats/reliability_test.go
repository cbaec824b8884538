package stats_test

import (
	"math"
	"testing"

	"echotally/internal/stats/reliability"
)

// judges are six targets rated by four judges: Shrout PE, Fleiss JL. Psychol Bull
// 1979;86:420-428, table 2.
func judges() [][]float64 {
	return [][]float64{{9, 2, 5, 8}, {6, 1, 3, 2}, {8, 4, 6, 8}, {7, 1, 2, 6}, {10, 5, 6, 9}, {6, 2, 4, 7}}
}

// TestIntraclassOfShroutAndFleiss: mean squares of their table 3, the six
// coefficients of their table 4, and the intervals that common packages print for
// these data.
func TestIntraclassOfShroutAndFleiss(t *testing.T) {
	i := reliability.NewIntraclass(judges(), 0.95)
	near(t, "BMS", i.BetweenSubjects, 11.24, 5e-3)
	near(t, "WMS", i.Within, 6.26, 5e-3)
	near(t, "JMS", i.BetweenReaders, 32.49, 5e-3)
	near(t, "EMS", i.Errors, 1.02, 5e-3)
	for form, want := range map[reliability.Form]float64{
		reliability.OneWaySingle: 0.17, reliability.RandomSingle: 0.29, reliability.FixedSingle: 0.71,
		reliability.OneWayAverage: 0.44, reliability.RandomAverage: 0.62, reliability.FixedAverage: 0.91,
	} {
		near(t, string(form), i.Of(form).Value, want, 5e-3)
	}
	for form, want := range map[reliability.Form][2]float64{
		reliability.OneWaySingle: {-0.13, 0.72}, reliability.RandomSingle: {0.02, 0.76}, reliability.FixedSingle: {0.34, 0.95},
	} {
		near(t, string(form)+" low", i.Of(form).Low, want[0], 5e-3)
		near(t, string(form)+" high", i.Of(form).High, want[1], 5e-3)
	}
	near(t, "standard error", i.StandardError(), 2.502776, 1e-5)
}

// TestIntraclassWithoutSpread: equal readings, readings a constant apart, and
// subjects that do not differ have no interval, and never end the program.
func TestIntraclassWithoutSpread(t *testing.T) {
	equal := reliability.NewIntraclass([][]float64{{1, 1}, {2, 2}, {4, 4}}, 0.95)
	if c := equal.Of(reliability.RandomSingle); c.Value != 1 || !math.IsNaN(c.Low) || equal.Of(reliability.OneWaySingle).Value != 1 {
		t.Errorf("equal readings: %+v", c)
	}
	apart := reliability.NewIntraclass([][]float64{{1, 2}, {2, 3}, {4, 5}}, 0.95)
	if c := apart.Of(reliability.RandomSingle); !(c.Value > 0 && c.Value < 1) || !math.IsNaN(c.Low) {
		t.Errorf("a constant apart: %+v", c)
	}
	if c := apart.Of(reliability.FixedSingle); c.Value != 1 {
		t.Errorf("a constant apart, consistency: %+v", c)
	}
	if c := reliability.NewIntraclass([][]float64{{3, 3}, {3, 3}, {3, 3}}, 0.95).Of(reliability.RandomSingle); !math.IsNaN(c.Value) {
		t.Errorf("nothing differs: %+v", c)
	}
}
