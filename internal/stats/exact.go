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

// OutsideLimits is the probability that a share of n trials of probability p
// lies strictly beyond the limits: the false-alarm rate of one point of a p
// chart, exactly instead of by the normal tail.
func OutsideLimits(n int, p float64, limits Interval) float64 {
	if p <= 0 || p >= 1 {
		return 0
	}
	low := int(math.Ceil(limits.Low*float64(n)-1e-9)) - 1
	high := int(math.Floor(limits.High*float64(n) + 1e-9))
	return binomialCDF(low, n, p) + 1 - binomialCDF(high, n, p)
}

// BalancedRunsFalseAlarm is the probability that n points, as many above the
// median as below and in random order, have a run longer than longest or fewer
// than fewest crossings. Unlike [RunsFalseAlarm] it takes into account that the
// median is that of the points themselves (the distribution of runs given the
// numbers on both sides: Swed FS, Eisenhart C. Ann Math Stat 1943;14:66-87).
func BalancedRunsFalseAlarm(n, longest, fewest int) float64 {
	half := n / 2
	// Sequences so far by the points on the side of the last one and on the other,
	// the crossings and the length of the last run.
	type state struct{ own, other, crossings, run int }
	ways := map[state]float64{{1, 0, 0, 1}: 1}
	for range 2*half - 1 {
		next := map[state]float64{}
		for s, w := range ways {
			if s.own < half && s.run < longest {
				next[state{s.own + 1, s.other, s.crossings, s.run + 1}] += w
			}
			if s.other < half {
				// The sides change roles, so that own is always that of the last point.
				next[state{s.other + 1, s.own, s.crossings + 1, 1}] += w
			}
		}
		ways = next
	}
	silent := 0.0
	for s, w := range ways {
		if s.crossings >= fewest {
			silent += w
		}
	}
	return 1 - 2*silent/choose(2*half, half)
}
