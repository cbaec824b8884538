// Package reliability owns the agreement of readings in numbers: limits of agreement,
// repeatability, intraclass correlation, proportional bias.
package reliability

import (
	"math"
	"sort"

	"echotally/internal/stats"

	"gonum.org/v1/gonum/stat/distuv"
)

// Agreement is how far two readings of the same things lie apart: the mean
// difference and the limits between which most differences lie (Bland JM, Altman
// DG. Lancet 1986;i:307-310). The pairs have to be of different subjects.
type Agreement struct {
	Pairs        int
	Bias, SD     float64
	Lower, Upper float64 // Bias ∓ width · SD
	OfBias       stats.Interval
	OfLower      stats.Interval
	OfUpper      stats.Interval
	Growth       float64 // rank correlation of the size of the difference with the mean; NaN when one of them is constant
}

// Usual is the width of limits that hold 95 % of normal differences (Bland JM,
// Altman DG. Stat Methods Med Res 1999;8:135-160); the paper of 1986 took 2.
const Usual = 1.96

// NewAgreement compares second with first; differences are second − first. The
// standard error of a limit is √(3/n)·SD. At least two pairs are needed.
func NewAgreement(first, second []float64, width, confidence float64) Agreement {
	n := len(first)
	differences, sizes, means := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range first {
		differences[i], means[i] = second[i]-first[i], (first[i]+second[i])/2
		sizes[i] = math.Abs(differences[i])
	}
	bias, variance := stats.MeanVariance(differences)
	a := Agreement{Pairs: n, Bias: bias, SD: math.Sqrt(variance), Growth: rankCorrelation(sizes, means)}
	a.Lower, a.Upper = bias-width*a.SD, bias+width*a.SD
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(n - 1)}.Quantile(1 - (1-confidence)/2)
	ofBias, ofLimit := t*a.SD/math.Sqrt(float64(n)), t*a.SD*math.Sqrt(3/float64(n))
	a.OfBias = stats.Interval{Low: bias - ofBias, High: bias + ofBias}
	a.OfLower, a.OfUpper = stats.Interval{Low: a.Lower - ofLimit, High: a.Lower + ofLimit}, stats.Interval{Low: a.Upper - ofLimit, High: a.Upper + ofLimit}
	return a
}

// Repeatability is how far two readings of one subject may differ.
type Repeatability struct {
	Groups      int
	Within      float64        // within-subject standard deviation
	Coefficient float64        // 1.96·√2·Within: 95 % of pairs of readings differ by less
	Interval    stats.Interval // of the coefficient, by the chi-square distribution of the variance
}

// NewRepeatability pools the variances of groups of readings, each of one
// subject; groups of fewer than two are left out (Bland JM, Altman DG. BMJ
// 1996;313:744).
func NewRepeatability(groups [][]float64, confidence float64) Repeatability {
	r := Repeatability{}
	sum, freedom := 0.0, 0
	for _, g := range groups {
		if len(g) < 2 {
			continue
		}
		_, variance := stats.MeanVariance(g)
		sum += variance * float64(len(g)-1)
		freedom += len(g) - 1
		r.Groups++
	}
	r.Within = math.Sqrt(sum / float64(freedom))
	r.Coefficient = Usual * math.Sqrt2 * r.Within
	chi, tail := distuv.ChiSquared{K: float64(freedom)}, (1-confidence)/2
	if freedom > 0 {
		r.Interval = stats.Interval{Low: r.Coefficient * math.Sqrt(float64(freedom)/chi.Quantile(1-tail)), High: r.Coefficient * math.Sqrt(float64(freedom)/chi.Quantile(tail))}
	}
	return r
}

// rankCorrelation is Spearman's, with mean ranks for ties.
func rankCorrelation(x, y []float64) float64 {
	a, b := ranks(x), ranks(y)
	meanA, varianceA := stats.MeanVariance(a)
	meanB, varianceB := stats.MeanVariance(b)
	sum := 0.0
	for i := range a {
		sum += (a[i] - meanA) * (b[i] - meanB)
	}
	return sum / float64(len(a)-1) / math.Sqrt(varianceA*varianceB)
}

func ranks(x []float64) []float64 {
	order := make([]int, len(x))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool { return x[order[a]] < x[order[b]] })
	out := make([]float64, len(x))
	for i := 0; i < len(order); {
		k := i
		for k+1 < len(order) && x[order[k+1]] == x[order[i]] {
			k++
		}
		for _, at := range order[i : k+1] {
			out[at] = float64(i+k)/2 + 1
		}
		i = k + 1
	}
	return out
}
