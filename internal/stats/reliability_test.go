package stats_test

import (
	"math"
	"testing"

	"echotally/internal/stats"
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
	i := stats.NewIntraclass(judges(), 0.95)
	near(t, "BMS", i.BetweenSubjects, 11.24, 5e-3)
	near(t, "WMS", i.Within, 6.26, 5e-3)
	near(t, "JMS", i.BetweenReaders, 32.49, 5e-3)
	near(t, "EMS", i.Errors, 1.02, 5e-3)
	for form, want := range map[stats.Form]float64{
		stats.OneWaySingle: 0.17, stats.RandomSingle: 0.29, stats.FixedSingle: 0.71,
		stats.OneWayAverage: 0.44, stats.RandomAverage: 0.62, stats.FixedAverage: 0.91,
	} {
		near(t, string(form), i.Of(form).Value, want, 5e-3)
	}
	for form, want := range map[stats.Form][2]float64{
		stats.OneWaySingle: {-0.13, 0.72}, stats.RandomSingle: {0.02, 0.76}, stats.FixedSingle: {0.34, 0.95},
	} {
		near(t, string(form)+" low", i.Of(form).Low, want[0], 5e-3)
		near(t, string(form)+" high", i.Of(form).High, want[1], 5e-3)
	}
	near(t, "standard error", i.StandardError(), 2.502776, 1e-5)
}

// TestSampleSizes: a published nomogram of total widths (chart audit module of a
// university), a worked example of an audit guide (300 patients, 70 %, 5 points
// either side: 155), and zero acceptance, 59 for 5 % and 29 for 10 %.
func TestSampleSizes(t *testing.T) {
	for _, c := range []struct {
		share, width float64
		want         int
	}{{0.5, 0.10, 384}, {0.4, 0.10, 369}, {0.3, 0.10, 323}, {0.25, 0.10, 289}, {0.2, 0.10, 246}, {0.15, 0.10, 196}, {0.1, 0.10, 139}, {0.5, 0.20, 96}, {0.3, 0.20, 81}, {0.2, 0.20, 62}} {
		// The nomogram rounds 384.15 and 96.04 down.
		if got := stats.SampleSize(c.share, c.width/2, 0.95, 0); got != c.want && got != c.want+1 {
			t.Errorf("share %v, width %v: %d, want %d", c.share, c.width, got, c.want)
		}
	}
	if got := stats.SampleSize(0.7, 0.05, 0.95, 300); got != 155 && got != 156 {
		t.Errorf("of 300: %d, want 155 or, rounded up, 156", got)
	}
	for _, c := range []struct {
		rate       float64
		population int
		want       int
	}{{0.05, 0, 59}, {0.10, 0, 29}, {0.05, 100, 45}, {0.05, 200, 51}, {0.05, 400, 55}, {0.0001, 5, 5}} {
		if got := stats.CleanNeeded(c.rate, 0.95, c.population); got != c.want {
			t.Errorf("rate %v of %d: %d, want %d", c.rate, c.population, got, c.want)
		}
	}
}

// TestIntraclassWithoutSpread: equal readings, readings a constant apart, and
// subjects that do not differ have no interval, and never end the program.
func TestIntraclassWithoutSpread(t *testing.T) {
	equal := stats.NewIntraclass([][]float64{{1, 1}, {2, 2}, {4, 4}}, 0.95)
	if c := equal.Of(stats.RandomSingle); c.Value != 1 || !math.IsNaN(c.Low) || equal.Of(stats.OneWaySingle).Value != 1 {
		t.Errorf("equal readings: %+v", c)
	}
	apart := stats.NewIntraclass([][]float64{{1, 2}, {2, 3}, {4, 5}}, 0.95)
	if c := apart.Of(stats.RandomSingle); !(c.Value > 0 && c.Value < 1) || !math.IsNaN(c.Low) {
		t.Errorf("a constant apart: %+v", c)
	}
	if c := apart.Of(stats.FixedSingle); c.Value != 1 {
		t.Errorf("a constant apart, consistency: %+v", c)
	}
	if c := stats.NewIntraclass([][]float64{{3, 3}, {3, 3}, {3, 3}}, 0.95).Of(stats.RandomSingle); !math.IsNaN(c.Value) {
		t.Errorf("nothing differs: %+v", c)
	}
}
