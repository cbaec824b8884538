// Package funnel owns the funnel plot: units beside each other with limits that
// narrow with their size.
package funnel

import (
	"math"
	"sort"

	"echotally/internal/stats"
)

// Funnel compares units with a common target (Spiegelhalter DJ. Stat Med
// 2005;24:1185-1202).
type Funnel struct {
	Target     float64
	Units      []FunnelUnit
	Phi        float64 // winsorised mean squared z
	Tau2       float64 // additive variance between units, 0 when not over-dispersed
	Dispersed  bool    // the limits were widened by Tau2
	Comparable bool    // enough units to draw limits
}

// FunnelUnit is one person, machine or site.
type FunnelUnit struct {
	stats.Proportion
	Z       float64        // (p − target)/se, with Tau2 when widened
	PValue  float64        // two-sided, exact binomial unless widened
	Warning stats.Interval // 95 % limits
	Alarm   stats.Interval // 99.8 % limits
}

// MinimumUnits is the least number of units for which a funnel is drawn.
const MinimumUnits = 5

// NewFunnel builds the funnel about the pooled proportion. Limits are exact
// binomial, interpolated (Spiegelhalter 2005, appendix A.1.1); when the
// winsorised dispersion exceeds 1+2√(2/I) they are widened by the additive
// model (Spiegelhalter DJ. Qual Saf Health Care 2005;14:347-351).
func NewFunnel(units []stats.Proportion) Funnel {
	var f Funnel
	var count, total int
	for _, u := range units {
		count, total = count+u.Count, total+u.Total
	}
	f.Target = float64(count) / float64(total)
	f.Comparable = len(units) >= MinimumUnits && f.Target > 0 && f.Target < 1
	var zs, weights []float64
	for _, u := range units {
		se := math.Sqrt(f.Target * (1 - f.Target) / float64(u.Total))
		zs, weights = append(zs, (u.Value()-f.Target)/se), append(weights, 1/(se*se))
	}
	f.Phi = meanSquare(winsorise(zs, 0.1))
	if f.Comparable && len(units) >= 10 && f.Phi > 1+2*math.Sqrt(2/float64(len(units))) {
		f.Tau2 = additiveVariance(f.Phi, weights)
		f.Dispersed = f.Tau2 > 0
	}
	for i, u := range units {
		f.Units = append(f.Units, f.unit(u, zs[i]))
	}
	return f
}

func (f Funnel) unit(u stats.Proportion, score float64) FunnelUnit {
	out := FunnelUnit{Proportion: u, Z: score}
	if !f.Comparable {
		return out
	}
	if f.Dispersed {
		se := math.Sqrt(f.Target*(1-f.Target)/float64(u.Total) + f.Tau2)
		out.Z = (u.Value() - f.Target) / se
		out.PValue = math.Erfc(math.Abs(out.Z) / math.Sqrt2)
		out.Warning = stats.Interval{Low: math.Max(0, f.Target-1.959964*se), High: math.Min(1, f.Target+1.959964*se)}
		out.Alarm = stats.Interval{Low: math.Max(0, f.Target-3.090232*se), High: math.Min(1, f.Target+3.090232*se)}
		return out
	}
	out.PValue = stats.BinomialTest(u, f.Target)
	out.Warning = stats.Interval{Low: ExactFunnelLimit(u.Total, f.Target, 0.025), High: ExactFunnelLimit(u.Total, f.Target, 0.975)}
	out.Alarm = stats.Interval{Low: ExactFunnelLimit(u.Total, f.Target, 0.001), High: ExactFunnelLimit(u.Total, f.Target, 0.999)}
	return out
}

// ExactFunnelLimit is the interpolated binomial limit of a proportion: r − α
// over n, r the quantile and α its interpolation (Spiegelhalter 2005, appendix).
func ExactFunnelLimit(n int, target, q float64) float64 {
	r := stats.BinomialQuantile(q, n, target)
	at, below := stats.BinomialCDF(r, n, target), stats.BinomialCDF(r-1, n, target)
	alpha := (at - q) / (at - below)
	return math.Min(1, math.Max(0, (float64(r)-alpha)/float64(n)))
}

func winsorise(x []float64, share float64) []float64 {
	s := append([]float64(nil), x...)
	sort.Float64s(s)
	n := len(s)
	if n == 0 {
		return s
	}
	k := int(share * float64(n))
	out := make([]float64, n)
	for i, v := range x {
		out[i] = math.Min(math.Max(v, s[k]), s[n-1-k])
	}
	return out
}

func meanSquare(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return sum / float64(len(x))
}

func additiveVariance(phi float64, weights []float64) float64 {
	n := float64(len(weights))
	var sum, squares float64
	for _, w := range weights {
		sum, squares = sum+w, squares+w*w
	}
	return math.Max(0, (n*phi-(n-1))/(sum-squares/sum))
}
