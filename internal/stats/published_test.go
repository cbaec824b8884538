package stats_test

import (
	"math"
	"testing"

	"echotally/internal/stats"
)

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

// Cow packed cell volumes, duplicate readings (coefficient of variation of a
// statistics teaching collection): root mean square 5.96 %.
func TestWithinSubjectCV(t *testing.T) {
	cv := stats.WithinSubjectCV([][]float64{{33, 35}, {26, 23}, {29, 29}, {32, 35}, {31, 28}, {31, 31}, {31, 34}, {31, 29}, {35, 33}, {21, 24}})
	near(t, "CV", cv, 0.0595897, 1e-6)
}

func TestQuantile(t *testing.T) {
	x := []float64{1, 2, 3, 4}
	near(t, "median", stats.Quantile(x, 0.5), 2.5, 0)
	near(t, "90th centile", stats.Quantile(x, 0.9), 3.7, 1e-12) // R quantile(1:4, 0.9), type 7
	if !math.IsNaN(stats.Quantile(nil, 0.5)) {
		t.Error("no values have no median")
	}
}
