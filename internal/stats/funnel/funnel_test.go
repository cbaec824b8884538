package funnel_test

import (
	"testing"

	"echotally/internal/stats"
	"echotally/internal/stats/funnel"
)

// Twelve centres of the Bristol inquiry; Spiegelhalter DJ, Stat Med 2005;24:1185
// and Qual Saf Health Care 2005;14:347 (method; figures recomputed).
func TestFunnel(t *testing.T) {
	f := funnel.NewFunnel(centres)
	near(t, "target", f.Target, 397.0/3319, 1e-9)
	near(t, "winsorised dispersion", f.Phi, 1.792828, 1e-5)
	if f.Dispersed {
		t.Errorf("dispersion %.3f is below 1+2√(2/12) = 1.816: limits are not widened", f.Phi)
	}
	for i, want := range []float64{6.16, 0.59, -2.51, 2.35, 1.30, -0.99, -0.91, -0.65, 0.59, 0.89, -1.47, -0.89} {
		near(t, "z", f.Units[i].Z, want, 6e-3)
	}
	first := f.Units[0]
	for i, want := range []float64{0.0405, 0.0653, 0.1720, 0.2073} {
		near(t, "interpolated exact limit, n 143", []float64{first.Alarm.Low, first.Warning.Low, first.Warning.High, first.Alarm.High}[i], want, 1e-4)
	}
	if v := first.Value(); v <= first.Alarm.High {
		t.Errorf("the first centre (%.3f) lies far outside the funnel", v)
	}
}

func TestFunnelOfFewUnitsDrawsNoLimits(t *testing.T) {
	f := funnel.NewFunnel(centres[:4])
	if f.Comparable || f.Units[0].Alarm != (stats.Interval{}) {
		t.Error("four units are too few for a funnel")
	}
}

// Exact binomial limits for a target of 0.90 (arithmetic from the definition):
// the largest count with a lower tail of at most 2.5 %.
func TestBinomialTest(t *testing.T) {
	for n, warn := range map[int]int{10: 6, 20: 14, 30: 22, 50: 40, 100: 83, 200: 170} {
		if p := stats.BinomialTest(stats.Proportion{Count: warn, Total: n}, 0.9); p > 0.05 {
			t.Errorf("%d of %d: p %.4f, a count at the warning limit must test below 0.05", warn, n, p)
		}
		if p := stats.BinomialTest(stats.Proportion{Count: warn + 1, Total: n}, 0.9); p <= 0.05 {
			t.Errorf("%d of %d: p %.4f, one more must not", warn+1, n, p)
		}
	}
}

var centres = []stats.Proportion{{Count: 41, Total: 143}, {Count: 25, Total: 187}, {Count: 24, Total: 323}, {Count: 23, Total: 122}, {Count: 25, Total: 164}, {Count: 42, Total: 405},
	{Count: 24, Total: 239}, {Count: 53, Total: 482}, {Count: 26, Total: 195}, {Count: 25, Total: 177}, {Count: 58, Total: 581}, {Count: 31, Total: 301}}
