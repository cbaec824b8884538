package stats

import (
	"math"

	"gonum.org/v1/gonum/stat/combin"
)

// FisherExact is the two-sided exact test of two proportions: the probability,
// with both margins fixed, of all tables at most as likely as the one seen
// (Fisher RA. J R Stat Soc 1935;98:39-82).
func FisherExact(p, q Proportion) float64 {
	n, hits := p.Total+q.Total, p.Count+q.Count
	if p.Total == 0 || q.Total == 0 {
		return 1
	}
	logAll := combin.LogGeneralizedBinomial(float64(n), float64(hits))
	probability := func(x int) float64 {
		return math.Exp(combin.LogGeneralizedBinomial(float64(p.Total), float64(x)) +
			combin.LogGeneralizedBinomial(float64(q.Total), float64(hits-x)) - logAll)
	}
	seen := probability(p.Count) * (1 + 1e-7) // equally likely tables differ by rounding
	sum := 0.0
	for x := max(0, hits-q.Total); x <= min(hits, p.Total); x++ {
		if one := probability(x); one <= seen {
			sum += one
		}
	}
	return math.Min(1, sum)
}

// BinomialTest is the two-sided exact test of p against a target: twice the
// smaller tail, at most 1.
func BinomialTest(p Proportion, target float64) float64 {
	low := BinomialCDF(p.Count, p.Total, target)
	high := 1 - BinomialCDF(p.Count-1, p.Total, target)
	return math.Min(1, 2*math.Min(low, high))
}
