package control_test

import (
	"math"
	"testing"

	"echotally/internal/stats"
	"echotally/internal/stats/control"
)

// The false-alarm rate of a point by adding up the binomial probabilities of
// Binomial(10, 0.5): 0 and 10 beyond 0.05-0.95 are 2/1024; 9 of 10 is on the
// limit 0.9 and does not count.
func TestOutsideLimits(t *testing.T) {
	near(t, "both ends", control.OutsideLimits(10, 0.5, stats.Interval{Low: 0.05, High: 0.95}), 2.0/1024, 1e-12)
	near(t, "on the limit", control.OutsideLimits(10, 0.5, stats.Interval{Low: 0.1, High: 0.9}), 2.0/1024, 1e-12)
	near(t, "no room", control.OutsideLimits(10, 1, stats.Interval{Low: 1, High: 1}), 0, 0)
}

// Chips per wafer: NIST/SEMATECH e-Handbook of Statistical Methods 6.3.3.2; same
// data in Montgomery DC, Introduction to Statistical Quality Control.
func TestPChartOfTheHandbook(t *testing.T) {
	c := control.PChart(equalSize(50, wafers...), 0)
	near(t, "centre", c.Centre, 0.2313, 1e-4)
	near(t, "upper limit", c.Limits[0].High, 0.4102, 1e-4)
	near(t, "lower limit", c.Limits[0].Low, 0.0524, 1e-4)
	if len(c.Signals) != 2 || c.Signals[0] != 14 || c.Signals[1] != 22 {
		t.Errorf("signals at %v, published samples 15 and 23", c.Signals)
	}
}

// Montgomery's continuation (printed values from memory): without samples 15 and
// 23 the limits tighten and sample 21 signals.
func TestPChartWithoutAssignableCauses(t *testing.T) {
	var kept []int
	for i, w := range wafers {
		if i != 14 && i != 22 {
			kept = append(kept, w)
		}
	}
	c := control.PChart(equalSize(50, kept...), 0)
	near(t, "centre", c.Centre, 0.2150, 1e-4)
	near(t, "upper limit", c.Limits[0].High, 0.3893, 1e-4)
	near(t, "lower limit", c.Limits[0].Low, 0.0407, 1e-4)
	if len(c.Signals) != 1 || kept[c.Signals[0]] != 20 {
		t.Errorf("signals at %v, published: the sample of 20 only", c.Signals)
	}
}

// Method of Laney DB, Quality Engineering 2002;14:531, on the handbook's data;
// the figures are our own arithmetic from the printed formula.
func TestPrimeChart(t *testing.T) {
	charts, prime := control.StretchCharts([]control.Stretch{{Points: equalSize(50, wafers...)}})
	c := charts[0]
	near(t, "sigma z", c.SigmaZ, 1.660867, 1e-5)
	near(t, "upper limit", c.Limits[0].High, 0.528472, 1e-5)
	if len(c.Signals) != 0 || c.Limits[0].Low != 0 {
		t.Errorf("signals %v, lower limit %v", c.Signals, c.Limits[0].Low)
	}
	if !prime {
		t.Error("the wafer data vary more than chance allows")
	}
}

// Two stretches of the handbook's data, of which the second is improved, have
// centres of their own and limits about them; a month far off in a short stretch
// does not widen the limits until it is within.
func TestStretchesHaveLimitsOfTheirOwn(t *testing.T) {
	charts, _ := control.StretchCharts([]control.Stretch{{Points: equalSize(50, 12, 15, 8, 10, 14, 11)}, {Points: equalSize(50, 5, 6, 4, 7, 3, 5)}})
	near(t, "centre of the first", charts[0].Centre, 70.0/300, 1e-12)
	near(t, "centre of the second", charts[1].Centre, 30.0/300, 1e-12)
	near(t, "upper limit of the second", charts[1].Limits[0].High, 0.1+3*math.Sqrt(0.1*0.9/50), 1e-12)
	charts, prime := control.StretchCharts([]control.Stretch{{Points: equalSize(400, 320, 322, 318, 321, 319, 320)}, {Points: equalSize(400, 320, 321, 319, 320, 318, 290)}})
	if prime || len(charts[1].Signals) != 1 || charts[1].Signals[0] != 5 {
		t.Errorf("widened %t, signals %v; the last of the second stretch is 3.2 standard errors low", prime, charts[1].Signals)
	}
}

// Defects on wafers: NIST/SEMATECH e-Handbook 6.3.3.1 (c chart, one unit each).
// A count equal to the limit is no signal.
func TestCountChartOfTheHandbook(t *testing.T) {
	c := control.UChart(equalSize(1, 16, 14, 28, 16, 12, 20, 10, 12, 10, 17, 19, 17, 14, 16, 15, 13, 14, 16, 11, 20, 11, 19, 16, 31, 13), 0)
	near(t, "centre", c.Centre, 16, 1e-12)
	near(t, "upper limit", c.Limits[0].High, 28, 1e-12)
	near(t, "lower limit", c.Limits[0].Low, 4, 1e-12)
	if len(c.Signals) != 1 || c.Signals[0] != 23 {
		t.Errorf("signals at %v, published: sample 24; sample 3 lies on the limit", c.Signals)
	}
}

// Nonconformities of personal computers: Montgomery 1991 pp 181-182 (printed
// values from memory).
func TestUChart(t *testing.T) {
	c := control.UChart(equalSize(5, 10, 12, 8, 14, 10, 16, 11, 7, 10, 15, 9, 5, 7, 11, 12, 6, 8, 10, 7, 5), 0)
	near(t, "centre", c.Centre, 1.93, 1e-9)
	near(t, "upper limit", c.Limits[0].High, 3.79, 5e-3)
	near(t, "lower limit", c.Limits[0].Low, 0.07, 5e-3)
	if len(c.Signals) != 0 {
		t.Errorf("signals %v", c.Signals)
	}
}

// Flow rates: NIST/SEMATECH e-Handbook 6.3.2.2.
func TestIndividualsChartOfTheHandbook(t *testing.T) {
	c, upper := control.XmRChart([]float64{49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1}, 0)
	near(t, "centre", c.Centre, 50.81, 1e-9)
	near(t, "upper limit", c.Limits[0].High, 55.8041, 1e-4)
	near(t, "lower limit", c.Limits[0].Low, 45.8159, 1e-4)
	near(t, "moving range limit", upper, 6.1349, 3e-4)
}

func equalSize(n int, counts ...int) []stats.Proportion {
	var out []stats.Proportion
	for _, c := range counts {
		out = append(out, stats.Proportion{Count: c, Total: n})
	}
	return out
}

var wafers = []int{12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6}
