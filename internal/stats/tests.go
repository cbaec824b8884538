package stats

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"
)

// ChiSquareSurvival is the probability of a chi-square so large or larger.
func ChiSquareSurvival(chi float64, freedom int) float64 {
	return distuv.ChiSquared{K: float64(freedom)}.Survival(chi)
}

// Discoveries applies the step-up procedure of Benjamini Y, Hochberg Y. J R Stat
// Soc B 1995;57:289-300: which hypotheses are rejected at false discovery rate
// q, and the adjusted p-values, in the order given.
func Discoveries(p []float64, q float64) (rejected []bool, adjusted []float64) {
	m := len(p)
	order := make([]int, m)
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool { return p[order[a]] < p[order[b]] })
	rejected, adjusted = make([]bool, m), make([]float64, m)
	least := 1.0
	for k := m; k >= 1; k-- {
		i := order[k-1]
		least = math.Min(least, p[i]*float64(m)/float64(k))
		adjusted[i] = least
		rejected[i] = least <= q
	}
	return rejected, adjusted
}

// ModifiedZ returns 0.6745 (x − median)/MAD for each value (Iglewicz B, Hoaglin
// D. How to Detect and Handle Outliers, ASQC 1993; values beyond 3.5 are
// outliers). When more than half the values are equal the median absolute
// deviation is 0 and the mean absolute deviation, times 1.2533, takes its place.
func ModifiedZ(x []float64) []float64 {
	centre := Median(x)
	deviations := make([]float64, len(x))
	mean := 0.0
	for i, v := range x {
		deviations[i] = math.Abs(v - centre)
		mean += deviations[i] / float64(len(x))
	}
	scale := Median(deviations) / 0.6745
	if scale == 0 {
		scale = 1.253314 * mean
	}
	out := make([]float64, len(x))
	for i, v := range x {
		if scale > 0 {
			out[i] = (v - centre) / scale
		}
	}
	return out
}

// WithinSubjectCV is the root mean square coefficient of variation of repeated
// readings, as a fraction; groups with fewer than two readings or a mean of 0
// are left out. NaN when nothing is left.
func WithinSubjectCV(groups [][]float64) float64 {
	sum, n := 0.0, 0
	for _, g := range groups {
		if len(g) < 2 {
			continue
		}
		mean, variance := MeanVariance(g)
		if mean == 0 {
			continue
		}
		sum += variance / (mean * mean)
		n++
	}
	return math.Sqrt(sum / float64(n))
}

// MeanVariance gives the mean and the sample variance.
func MeanVariance(x []float64) (mean, variance float64) {
	for _, v := range x {
		mean += v / float64(len(x))
	}
	for _, v := range x {
		variance += (v - mean) * (v - mean) / float64(len(x)-1)
	}
	return mean, variance
}

// Quantile is the q-quantile by linear interpolation between order statistics
// (definition 7 of Hyndman RJ, Fan Y. Am Stat 1996;50:361-365); NaN when empty.
func Quantile(x []float64, q float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := append([]float64(nil), x...)
	sort.Float64s(s)
	at := q * float64(len(s)-1)
	low := int(math.Floor(at))
	if low+1 >= len(s) {
		return s[len(s)-1]
	}
	return s[low] + (at-float64(low))*(s[low+1]-s[low])
}

// Simultaneous is the confidence each of so many intervals needs for all of them
// together to hold at the level (Dunn OJ. J Am Stat Assoc 1961;56:52-64, by the
// inequality of Bonferroni).
func Simultaneous(confidence float64, intervals int) float64 {
	return 1 - (1-confidence)/float64(max(1, intervals))
}

// Median of a slice, NaN when empty.
func Median(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := append([]float64(nil), x...)
	sort.Float64s(s)
	if n := len(s); n%2 == 0 {
		return (s[n/2-1] + s[n/2]) / 2
	}
	return s[len(s)/2]
}
