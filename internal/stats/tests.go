package stats

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"
)

func chiSquareSurvival(chi float64, freedom int) float64 {
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

// Digits is the test of end-digit preference.
type Digits struct {
	Counts    [10]int
	Total     int
	ChiSquare float64 // NaN when the exact test was used
	PValue    float64
	Exact     bool    // fewer than 50 values: exact binomial on 0 and 5
	Rounded   float64 // share ending in 0 or 5
}

// EndDigits tests whether the last digits are spread evenly: Pearson's
// chi-square with 9 degrees of freedom, or, below 50 values (an expected count
// below 5), the exact upper tail of values ending in 0 or 5 against one in five.
func EndDigits(counts [10]int) Digits {
	d := Digits{Counts: counts, ChiSquare: math.NaN(), PValue: 1}
	for _, c := range counts {
		d.Total += c
	}
	if d.Total == 0 {
		return d
	}
	round := counts[0] + counts[5]
	d.Rounded = float64(round) / float64(d.Total)
	if d.Total < 50 {
		d.Exact = true
		d.PValue = 1 - binomialCDF(round-1, d.Total, 0.2)
		return d
	}
	expected := float64(d.Total) / 10
	d.ChiSquare = 0
	for _, c := range counts {
		d.ChiSquare += (float64(c) - expected) * (float64(c) - expected) / expected
	}
	d.PValue = chiSquareSurvival(d.ChiSquare, 9)
	return d
}

// PileUp tests whether values heap just on one side of a threshold: of the
// values within a symmetric window, below and above should be equally many; the
// result is the two-sided exact binomial p-value.
func PileUp(below, above int) float64 {
	return BinomialTest(Proportion{below, below + above}, 0.5)
}

// ModifiedZ returns 0.6745 (x − median)/MAD for each value (Iglewicz B, Hoaglin
// D. How to Detect and Handle Outliers, ASQC 1993; values beyond 3.5 are
// outliers). When more than half the values are equal the median absolute
// deviation is 0 and the mean absolute deviation, times 1.2533, takes its place.
func ModifiedZ(x []float64) []float64 {
	centre := median(x)
	deviations := make([]float64, len(x))
	mean := 0.0
	for i, v := range x {
		deviations[i] = math.Abs(v - centre)
		mean += deviations[i] / float64(len(x))
	}
	scale := median(deviations) / 0.6745
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
		mean, variance := meanVariance(g)
		if mean == 0 {
			continue
		}
		sum += variance / (mean * mean)
		n++
	}
	return math.Sqrt(sum / float64(n))
}

func meanVariance(x []float64) (mean, variance float64) {
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
