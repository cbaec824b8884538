package stats_test

import (
	"math"
	"testing"

	"echotally/internal/stats/reliability"
)

// Peak expiratory flow of 17 subjects, two readings by each of two meters (Bland
// JM, Altman DG. Lancet 1986;i:307-310, table).
var (
	wright1 = []float64{494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427}
	wright2 = []float64{490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421}
	mini1   = []float64{512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451}
	mini2   = []float64{525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443}
)

// The paper's own figures: Wright less mini, limits of two standard deviations;
// intervals within its rounding (it took t = 2.12 and rounded standard errors).
func TestAgreementOfThePaper(t *testing.T) {
	a := reliability.NewAgreement(mini1, wright1, 2, 0.95)
	near(t, "bias", a.Bias, -2.1, 0.05)
	near(t, "SD", a.SD, 38.8, 0.05)
	near(t, "lower limit", a.Lower, -79.7, 0.1)
	near(t, "upper limit", a.Upper, 75.5, 0.1)
	near(t, "bias from", a.OfBias.Low, -22.0, 0.1)
	near(t, "bias to", a.OfBias.High, 17.8, 0.1)
	near(t, "lower limit from", a.OfLower.Low, -114.3, 0.2)
	near(t, "lower limit to", a.OfLower.High, -45.1, 0.2)
	near(t, "upper limit from", a.OfUpper.Low, 40.9, 0.2)
	near(t, "upper limit to", a.OfUpper.High, 110.1, 0.3)
	usual := reliability.NewAgreement(mini1, wright1, reliability.Usual, 0.95)
	near(t, "usual lower limit", usual.Lower, -78.0973, 1e-3)
	near(t, "usual upper limit", usual.Upper, 73.8620, 1e-3)
}

// The paper's coefficients of repeatability are twice the standard deviation of
// the differences about zero, 43.2 and 56.4; ours is 1.96·√2 of the
// within-subject standard deviation.
func TestRepeatabilityOfThePaper(t *testing.T) {
	for _, one := range []struct {
		name                   string
		first, second          []float64
		printed, within, usual float64
	}{{"Wright", wright1, wright2, 43.2, 15.3067, 42.43}, {"mini", mini1, mini2, 56.4, 19.9108, 55.19}} {
		var pairs [][]float64
		for i := range one.first {
			pairs = append(pairs, []float64{one.first[i], one.second[i]})
		}
		r := reliability.NewRepeatability(pairs, 0.95)
		near(t, one.name+" as printed", 2*math.Sqrt2*r.Within, one.printed, 0.1)
		near(t, one.name+" within", r.Within, one.within, 1e-3)
		near(t, one.name, r.Coefficient, one.usual, 0.01)
		if r.Groups != 17 || r.Interval.Low >= r.Coefficient || r.Interval.High <= r.Coefficient {
			t.Errorf("%s: %+v", one.name, r)
		}
	}
	if r := reliability.NewRepeatability([][]float64{{1}, nil}, 0.95); r.Groups != 0 || !math.IsNaN(r.Within) {
		t.Errorf("single readings tell nothing: %+v", r)
	}
}

// The half-width of the interval of a limit in standard deviations, 1.96·√(3/n)
// for large n, is what says how many pairs are enough.
func TestPrecisionOfLimits(t *testing.T) {
	const n = 100
	first, second := make([]float64, n), make([]float64, n)
	for i := range n {
		second[i] = float64(i%2)*2 - 1
	}
	a := reliability.NewAgreement(first, second, reliability.Usual, 0.95)
	near(t, "half-width", (a.OfUpper.High-a.OfUpper.Low)/2/a.SD, 0.34, 0.01)
}
