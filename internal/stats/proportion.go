package stats

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Interval is a closed interval.
type Interval struct{ Low, High float64 }

// Proportion is a count out of a number of trials.
type Proportion struct{ Count, Total int }

// Value returns Count/Total, NaN when Total is 0.
func (p Proportion) Value() float64 { return float64(p.Count) / float64(p.Total) }

// Z is the two-sided normal quantile of a confidence level such as 0.95.
func Z(confidence float64) float64 { return distuv.UnitNormal.Quantile(1 - (1-confidence)/2) }

// Wilson returns the score interval (Wilson EB. J Am Stat Assoc
// 1927;22:209-212); the whole range when Total is 0.
func (p Proportion) Wilson(confidence float64) Interval {
	if p.Total == 0 {
		return Interval{0, 1}
	}
	n, value, q := float64(p.Total), p.Value(), Z(confidence)
	centre := (value + q*q/(2*n)) / (1 + q*q/n)
	half := q * math.Sqrt(value*(1-value)/n+q*q/(4*n*n)) / (1 + q*q/n)
	out := Interval{math.Max(0, centre-half), math.Min(1, centre+half)}
	if p.Count == 0 {
		out.Low = 0
	}
	if p.Count == p.Total {
		out.High = 1
	}
	return out
}

// ClopperPearson returns the exact interval (Clopper CJ, Pearson ES. Biometrika
// 1934;26:404-413).
func (p Proportion) ClopperPearson(confidence float64) Interval {
	tail := (1 - confidence) / 2
	x, n := float64(p.Count), float64(p.Total)
	out := Interval{0, 1}
	if p.Count > 0 {
		out.Low = distuv.Beta{Alpha: x, Beta: n - x + 1}.Quantile(tail)
	}
	if p.Count < p.Total {
		out.High = distuv.Beta{Alpha: x + 1, Beta: n - x}.Quantile(1 - tail)
	}
	return out
}

// Difference returns p minus q with the hybrid score interval, method 10 of
// Newcombe RG. Stat Med 1998;17:873-890.
func Difference(p, q Proportion, confidence float64) (float64, Interval) {
	d := p.Value() - q.Value()
	a, b := p.Wilson(confidence), q.Wilson(confidence)
	low := math.Hypot(p.Value()-a.Low, b.High-q.Value())
	high := math.Hypot(a.High-p.Value(), q.Value()-b.Low)
	return d, Interval{d - low, d + high}
}

// UpperBoundOfNone is the exact one-sided upper bound of a proportion when none
// of n trials showed it: 1 − (1−confidence)^(1/n) (Hanley JA, Lippman-Hand A.
// JAMA 1983;249:1743-1745).
func UpperBoundOfNone(n int, confidence float64) float64 {
	return 1 - math.Pow(1-confidence, 1/float64(n))
}

// BinomialCDF is P(X <= k) for n trials of probability p, by the incomplete
// beta function; 0 below 0, 1 from n on.
func BinomialCDF(k, n int, p float64) float64 {
	if k < 0 {
		return 0
	}
	if k >= n {
		return 1
	}
	return distuv.Beta{Alpha: float64(n - k), Beta: float64(k + 1)}.CDF(1 - p)
}

// BinomialQuantile is the smallest k with P(X <= k) >= q.
func BinomialQuantile(q float64, n int, p float64) int {
	low, high := 0, n
	for low < high {
		mid := (low + high) / 2
		if BinomialCDF(mid, n, p) >= q {
			high = mid
		} else {
			low = mid + 1
		}
	}
	return low
}
