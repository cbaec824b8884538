package stats_test

import (
	"math"
	"testing"

	"echotally/internal/stats"
)

// near fails when got is not within tolerance of want.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.8g, published %.8g (tolerance %g)", what, got, want, tolerance)
	}
}

func equalSize(n int, counts ...int) []stats.Proportion {
	var out []stats.Proportion
	for _, c := range counts {
		out = append(out, stats.Proportion{Count: c, Total: n})
	}
	return out
}

var wafers = []int{12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6}

// Chips per wafer: NIST/SEMATECH e-Handbook of Statistical Methods 6.3.3.2; same
// data in Montgomery DC, Introduction to Statistical Quality Control.
func TestPChartOfTheHandbook(t *testing.T) {
	c := stats.PChart(equalSize(50, wafers...), 0)
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
	c := stats.PChart(equalSize(50, kept...), 0)
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
	charts, prime := stats.StretchCharts([]stats.Stretch{{Points: equalSize(50, wafers...)}})
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
	charts, _ := stats.StretchCharts([]stats.Stretch{{Points: equalSize(50, 12, 15, 8, 10, 14, 11)}, {Points: equalSize(50, 5, 6, 4, 7, 3, 5)}})
	near(t, "centre of the first", charts[0].Centre, 70.0/300, 1e-12)
	near(t, "centre of the second", charts[1].Centre, 30.0/300, 1e-12)
	near(t, "upper limit of the second", charts[1].Limits[0].High, 0.1+3*math.Sqrt(0.1*0.9/50), 1e-12)
	charts, prime := stats.StretchCharts([]stats.Stretch{{Points: equalSize(400, 320, 322, 318, 321, 319, 320)}, {Points: equalSize(400, 320, 321, 319, 320, 318, 290)}})
	if prime || len(charts[1].Signals) != 1 || charts[1].Signals[0] != 5 {
		t.Errorf("widened %t, signals %v; the last of the second stretch is 3.2 standard errors low", prime, charts[1].Signals)
	}
}

// Defects on wafers: NIST/SEMATECH e-Handbook 6.3.3.1 (c chart, one unit each).
// A count equal to the limit is no signal.
func TestCountChartOfTheHandbook(t *testing.T) {
	c := stats.UChart(equalSize(1, 16, 14, 28, 16, 12, 20, 10, 12, 10, 17, 19, 17, 14, 16, 15, 13, 14, 16, 11, 20, 11, 19, 16, 31, 13), 0)
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
	c := stats.UChart(equalSize(5, 10, 12, 8, 14, 10, 16, 11, 7, 10, 15, 9, 5, 7, 11, 12, 6, 8, 10, 7, 5), 0)
	near(t, "centre", c.Centre, 1.93, 1e-9)
	near(t, "upper limit", c.Limits[0].High, 3.79, 5e-3)
	near(t, "lower limit", c.Limits[0].Low, 0.07, 5e-3)
	if len(c.Signals) != 0 {
		t.Errorf("signals %v", c.Signals)
	}
}

// Flow rates: NIST/SEMATECH e-Handbook 6.3.2.2.
func TestIndividualsChartOfTheHandbook(t *testing.T) {
	c, upper := stats.XmRChart([]float64{49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1}, 0)
	near(t, "centre", c.Centre, 50.81, 1e-9)
	near(t, "upper limit", c.Limits[0].High, 55.8041, 1e-4)
	near(t, "lower limit", c.Limits[0].Low, 45.8159, 1e-4)
	near(t, "moving range limit", upper, 6.1349, 3e-4)
}

// Newcombe RG, Stat Med 1998;17:857, table I (printed values from memory) and
// the SciPy documentation of binomtest.
func TestIntervalsOfOneProportion(t *testing.T) {
	for _, c := range []struct {
		x, n                 int
		wilsonLow, wilsonTop float64
		exactLow, exactTop   float64
	}{
		{81, 263, 0.2553, 0.3662, 0.2527, 0.3676},
		{15, 148, 0.0624, 0.1605, 0.0578, 0.1617},
		{0, 20, 0.0000, 0.1611, 0.0000, 0.1684},
		{1, 29, 0.0061, 0.1718, 0.0009, 0.1776},
		{7, 50, 0.069508, 0.261862, 0.05819170033997342, 0.26739600249700846},
		{7, 20, 0.1812, 0.567146, 0.1539, 0.592189},
	} {
		p := stats.Proportion{Count: c.x, Total: c.n}
		w, e := p.Wilson(0.95), p.ClopperPearson(0.95)
		near(t, "Wilson low", w.Low, c.wilsonLow, 6e-5)
		near(t, "Wilson high", w.High, c.wilsonTop, 6e-5)
		near(t, "exact low", e.Low, c.exactLow, 6e-5)
		near(t, "exact high", e.High, c.exactTop, 6e-5)
	}
	// NIST/SEMATECH e-Handbook 7.2.4.2: 4 of 20, 90 % (limits from memory).
	e := stats.Proportion{Count: 4, Total: 20}.ClopperPearson(0.90)
	near(t, "90 % low", e.Low, 0.0714, 1e-4)
	near(t, "90 % high", e.High, 0.4010, 1e-4)
}

// Shares printed in echocardiographic audits, with the interval recomputed:
// J Am Heart Assoc 2018 (TR velocity reported, 803 of 1262: 64 %), Am J Cardiol
// 2010 (pressure not estimable, 174 of 792: 22.0 %), Bradley et al, Heart
// 2019;105:112 (77 067 of 213 174), Rameh and Kossaify 2016 (374 of 501: 74.66 %).
func TestSharesOfPublishedAudits(t *testing.T) {
	for _, c := range []struct {
		x, n            int
		value, low, top float64
	}{
		{803, 1262, 0.6363, 0.6094, 0.6624},
		{174, 792, 0.2197, 0.1923, 0.2498},
		{77067, 213174, 0.361522, 0.359485, 0.363564},
		{374, 501, 0.7466, 0.7066, 0.7826},
	} {
		p := stats.Proportion{Count: c.x, Total: c.n}
		w := p.Wilson(0.95)
		near(t, "share", p.Value(), c.value, 1e-4)
		near(t, "low", w.Low, c.low, 1e-4)
		near(t, "high", w.High, c.top, 1e-4)
	}
}

// Newcombe RG, Stat Med 1998;17:873, method 10 (printed value from memory).
func TestDifferenceOfProportions(t *testing.T) {
	d, ci := stats.Difference(stats.Proportion{Count: 56, Total: 70}, stats.Proportion{Count: 48, Total: 80}, 0.95)
	near(t, "difference", d, 0.2, 1e-9)
	near(t, "low", ci.Low, 0.0524, 5e-5)
	near(t, "high", ci.High, 0.3339, 5e-5)
}

// Hanley JA, Lippman-Hand A, JAMA 1983;249:1743; the second is the bound eight
// clean cases give.
func TestUpperBoundWhenNoneWasSeen(t *testing.T) {
	near(t, "0 of 1500", stats.UpperBoundOfNone(1500, 0.95), 0.001995, 1e-6)
	near(t, "0 of 8", stats.UpperBoundOfNone(8, 0.95), 0.312, 5e-4)
	near(t, "0 of 24", stats.UpperBoundOfNone(24, 0.95), 0.117, 5e-4)
}

// Anhøj J, Olesen AV, PLoS ONE 2014;9:e113825: limits by number of useful points.
func TestRunLimits(t *testing.T) {
	for n, want := range map[int][2]int{10: {6, 2}, 12: {7, 3}, 16: {7, 4}, 20: {7, 6}, 24: {8, 8}, 30: {8, 10}, 36: {8, 13}, 60: {9, 23}} {
		longest, fewest := stats.RunLimits(n)
		if longest != want[0] || fewest != want[1] {
			t.Errorf("%d points: %d and %d, published %v", n, longest, fewest, want)
		}
	}
}

// Swed FS, Eisenhart C, Ann Math Stat 1943;14:66 (exact two-sided 5 % limits;
// the bound itself signals).
func TestRunCountLimits(t *testing.T) {
	for n, want := range map[int][2]int{10: {2, 10}, 12: {3, 11}, 16: {4, 14}, 20: {6, 16}, 24: {7, 19}, 30: {10, 22}} {
		few, many := stats.RunCountLimits(n, 0.025)
		if few != want[0] || many != want[1] {
			t.Errorf("%d points: %d and %d, exact %v", n, few, many, want)
		}
	}
}

// TestRunsFalseAlarmByEnumeration counts all sequences of 12 points.
func TestRunsFalseAlarmByEnumeration(t *testing.T) {
	const n = 12
	longest, fewest := stats.RunLimits(n)
	signals := 0
	for pattern := range 1 << n {
		run, best, crossings := 1, 1, 0
		for i := 1; i < n; i++ {
			if pattern>>i&1 == pattern>>(i-1)&1 {
				run++
			} else {
				run, crossings = 1, crossings+1
			}
			best = max(best, run)
		}
		if best > longest || crossings < fewest {
			signals++
		}
	}
	near(t, "false alarms", stats.RunsFalseAlarm(n, longest, fewest), float64(signals)/(1<<n), 1e-12)
}

var centres = []stats.Proportion{{Count: 41, Total: 143}, {Count: 25, Total: 187}, {Count: 24, Total: 323}, {Count: 23, Total: 122}, {Count: 25, Total: 164}, {Count: 42, Total: 405},
	{Count: 24, Total: 239}, {Count: 53, Total: 482}, {Count: 26, Total: 195}, {Count: 25, Total: 177}, {Count: 58, Total: 581}, {Count: 31, Total: 301}}

// Twelve centres of the Bristol inquiry; Spiegelhalter DJ, Stat Med 2005;24:1185
// and Qual Saf Health Care 2005;14:347 (method; figures recomputed).
func TestFunnel(t *testing.T) {
	f := stats.NewFunnel(centres)
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
	f := stats.NewFunnel(centres[:4])
	if f.Comparable || f.Units[0].Alarm != (stats.Interval{}) {
		t.Error("four units are too few for a funnel")
	}
}

// Benjamini Y, Hochberg Y, J R Stat Soc B 1995;57:289, section 4.
func TestFalseDiscoveryOfTheOriginalPaper(t *testing.T) {
	p := []float64{0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0000}
	rejected, adjusted := stats.Discoveries(p, 0.05)
	for i, r := range rejected {
		if r != (i < 4) {
			t.Errorf("hypothesis %d rejected: %v; the paper rejects the first four", i+1, r)
		}
	}
	for i, want := range []float64{0.0015, 0.0030, 0.0095, 0.035625, 0.0603, 0.063857, 0.063857, 0.0645, 0.0765, 0.486, 0.581182, 0.714875, 0.753231, 0.813214, 1} {
		near(t, "adjusted", adjusted[i], want, 1e-6)
	}
}

// Leys C et al, J Exp Soc Psychol 2013;49:764 (from memory) and NIST/SEMATECH
// e-Handbook 1.3.5.17 (data and definition).
func TestModifiedZ(t *testing.T) {
	z := stats.ModifiedZ([]float64{199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57})
	near(t, "outlier", z[7], 29.96, 1e-2)
	for _, v := range z[:7] {
		if v < -1.41 || v > 0.56 {
			t.Errorf("%v: the others lie between -1.40 and 0.55", v)
		}
	}
	if z := stats.ModifiedZ([]float64{10, 10, 10, 10, 10, 11}); math.IsInf(z[5], 0) || math.IsNaN(z[5]) || z[0] != 0 {
		t.Errorf("heaped data: %v", z)
	}
}

// Digits of pi: the first 10 000 and 1000 decimals (classic digit table; the
// chi-square of the first from memory).
func TestEndDigits(t *testing.T) {
	d := stats.EndDigits([10]int{968, 1026, 1021, 974, 1012, 1046, 1021, 970, 948, 1014})
	near(t, "chi-square", d.ChiSquare, 9.318, 1e-3)
	near(t, "p", d.PValue, 0.4085, 1e-4)
	d = stats.EndDigits([10]int{93, 116, 103, 102, 93, 97, 94, 95, 101, 106})
	near(t, "chi-square", d.ChiSquare, 4.74, 1e-9)
	near(t, "p", d.PValue, 0.8564, 1e-4)
	small := stats.EndDigits([10]int{10, 2, 2, 2, 2, 10, 2, 2, 2, 2})
	if !small.Exact || small.PValue > 1e-4 {
		t.Errorf("20 of 36 values ending in 0 or 5: %+v", small)
	}
}

// Cow packed cell volumes, duplicate readings (coefficient of variation of a
// statistics teaching collection): root mean square 5.96 %.
func TestWithinSubjectCV(t *testing.T) {
	cv := stats.WithinSubjectCV([][]float64{{33, 35}, {26, 23}, {29, 29}, {32, 35}, {31, 28}, {31, 31}, {31, 34}, {31, 29}, {35, 33}, {21, 24}})
	near(t, "CV", cv, 0.0595897, 1e-6)
}

// Bolsin S, Colson M, Int J Qual Health Care 2000;12:433 (form; values for the
// rate pairs used in anaesthesia and endoscopy training).
func TestLearningBoundaries(t *testing.T) {
	for _, c := range []struct{ p0, p1, step, h float64 }{{0.10, 0.20, 0.145244, 2.709511}, {0.05, 0.15, 0.091934, 1.816131}, {0.04, 0.08, 0.057849, 2.986549}} {
		l := stats.NewLearning(nil, c.p0, c.p1, 0.1, 0.1)
		near(t, "step", l.Step, c.step, 1e-6)
		near(t, "boundary", l.Accept, c.h, 1e-6)
		near(t, "boundary", l.Review, c.h, 1e-6)
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

func TestRunsOfASeries(t *testing.T) {
	shift := []float64{5, 6, 5, 6, 5, 6, 5, 6, 5, 6, 9, 10, 9, 10, 9, 10, 9, 10, 9, 10}
	r := stats.AnalyseRuns(shift)
	if !r.Signal || r.LongestRun != 10 {
		t.Errorf("a clear shift: %+v", r)
	}
	if r.FalseAlarm <= 0 || r.FalseAlarm > 0.12 {
		t.Errorf("false-alarm rate %v; Anhøj and Olesen found about 5 %%", r.FalseAlarm)
	}
	mixed := []float64{1, 9, 2, 8, 3, 7, 2, 9, 1, 8, 2, 7, 3}
	if r := stats.AnalyseRuns(mixed); r.Signal {
		t.Errorf("alternating values: %+v", r)
	}
	if r := stats.AnalyseRuns([]float64{1, 2, 3}); r.Signal || r.LongestAllowed != 0 {
		t.Errorf("three points cannot signal: %+v", r)
	}
}

func TestQuantile(t *testing.T) {
	x := []float64{1, 2, 3, 4}
	near(t, "median", stats.Quantile(x, 0.5), 2.5, 0)
	near(t, "90th centile", stats.Quantile(x, 0.9), 3.7, 1e-12) // R quantile(1:4, 0.9), type 7
	if !math.IsNaN(stats.Quantile(nil, 0.5)) {
		t.Error("no values have no median")
	}
}
