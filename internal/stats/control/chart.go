// Package control owns the control chart: values, centre lines and limits of
// proportions, counts and single values.
package control

import (
	"math"

	"echotally/internal/stats"
)

// Chart is a control chart: a centre line, limits per point and the points
// beyond them.
type Chart struct {
	Values  []float64
	Centre  float64
	Limits  []stats.Interval
	SigmaZ  float64 // Laney's widening factor; 1 when not applied
	Signals []int   // indices of points strictly beyond their limits
}

// d2 and d4 are the control-chart constants of moving ranges of two (ASTM
// Manual on Presentation of Data and Control Chart Analysis, 7th ed., table 49).
const (
	d2 = 1.128
	d4 = 3.267
)

// PChart is the chart of proportions (NIST/SEMATECH e-Handbook 6.3.3.2) with
// limits at three standard errors, clipped to 0-1. Points without trials are
// gaps: NaN, never a signal. baseline is how many leading points set the centre
// line; 0 takes all.
func PChart(points []stats.Proportion, baseline int) Chart {
	return attributes(points, baseline, 1, standardError, 1)
}

// UChart is the chart of counts per unit (NIST/SEMATECH e-Handbook 6.3.3.1):
// Count events in Total units.
func UChart(points []stats.Proportion, baseline int) Chart {
	return attributes(points, baseline, math.Inf(1), func(centre, n float64) float64 { return math.Sqrt(centre / n) }, 1)
}

func attributes(points []stats.Proportion, baseline int, top float64, se func(centre, n float64) float64, sigma float64) Chart {
	var count, total int
	for _, p := range points[:span(baseline, len(points))] {
		count, total = count+p.Count, total+p.Total
	}
	c := Chart{Centre: float64(count) / float64(total), SigmaZ: sigma}
	for i, p := range points {
		c.Values = append(c.Values, p.Value())
		half := 3 * sigma * se(c.Centre, float64(p.Total))
		limits := stats.Interval{Low: math.Max(0, c.Centre-half), High: math.Min(top, c.Centre+half)}
		c.Limits = append(c.Limits, limits)
		if p.Total > 0 && beyond(c.Values[i], limits) {
			c.Signals = append(c.Signals, i)
		}
	}
	return c
}

func span(baseline, n int) int {
	if baseline <= 0 || baseline > n {
		return n
	}
	return baseline
}

// beyond is strict, with room for floating-point noise: a point on the limit is
// no signal.
func beyond(v float64, l stats.Interval) bool {
	noise := 1e-9 * (1 + math.Abs(v))
	return v > l.High+noise || v < l.Low-noise
}

// standardRanges is the mean moving range of the standardised values, and of how
// many ranges; none where all values are the same by necessity.
func standardRanges(points []stats.Proportion, plain Chart, baseline int) (mean float64, n int) {
	var standard []float64
	for i, p := range points[:span(baseline, len(points))] {
		if se := standardError(plain.Centre, float64(p.Total)); p.Total > 0 && se > 0 {
			standard = append(standard, (plain.Values[i]-plain.Centre)/se)
		}
	}
	return meanMovingRange(standard), max(0, len(standard)-1)
}

func meanMovingRange(x []float64) float64 {
	if len(x) < 2 {
		return math.NaN()
	}
	sum := 0.0
	for i := 1; i < len(x); i++ {
		sum += math.Abs(x[i] - x[i-1])
	}
	return sum / float64(len(x)-1)
}

// XmRChart is the chart of individual values with limits from the mean moving
// range (NIST/SEMATECH e-Handbook 6.3.2.2). The second result is the upper limit
// of the moving range.
func XmRChart(x []float64, baseline int) (Chart, float64) {
	base := x[:span(baseline, len(x))]
	sum := 0.0
	for _, v := range base {
		sum += v
	}
	mr := meanMovingRange(base)
	c := Chart{Values: x, Centre: sum / float64(len(base)), SigmaZ: 1}
	limits := stats.Interval{Low: c.Centre - 3*mr/d2, High: c.Centre + 3*mr/d2}
	for i, v := range x {
		c.Limits = append(c.Limits, limits)
		if beyond(v, limits) {
			c.Signals = append(c.Signals, i)
		}
	}
	return c, d4 * mr
}

// dispersion is the chi-square of the points about their centre with its degrees
// of freedom.
func dispersion(points []stats.Proportion, baseline int) (chi float64, freedom int) {
	c := PChart(points, baseline)
	n := 0
	for i, p := range points[:span(baseline, len(points))] {
		if p.Total == 0 || c.Centre <= 0 || c.Centre >= 1 {
			continue
		}
		d := c.Values[i] - c.Centre
		chi += d * d * float64(p.Total) / (c.Centre * (1 - c.Centre))
		n++
	}
	return chi, max(0, n-1)
}

// Stretch is part of a series with a centre of its own, as between two changes
// of the process.
type Stretch struct {
	Points   []stats.Proportion
	Baseline int // leading points that set the centre; 0: all
}

// StretchCharts gives the p chart of each stretch, or, where the points vary more
// than chance allows at the 5 % level (the chi-square of the points about their
// centres), the p′ chart, whose limits are widened by the point-to-point
// variation of the standardised values (Laney DB. Quality Engineering
// 2002;14:531-537). That is asked of all stretches together: in a short one the
// point that signals would itself widen its limits.
func StretchCharts(parts []Stretch) (charts []Chart, prime bool) {
	chi, freedom := 0.0, 0
	ranges, n := 0.0, 0
	for _, p := range parts {
		c, f := dispersion(p.Points, p.Baseline)
		chi, freedom = chi+c, freedom+f
		plain := PChart(p.Points, p.Baseline)
		if mean, k := standardRanges(p.Points, plain, p.Baseline); k > 0 {
			ranges, n = ranges+mean*float64(k), n+k
		}
		charts = append(charts, plain)
	}
	if n == 0 || freedom < 2 || stats.ChiSquareSurvival(chi, freedom) >= 0.05 {
		return charts, false
	}
	for i, p := range parts {
		charts[i] = attributes(p.Points, p.Baseline, 1, standardError, ranges/float64(n)/d2)
	}
	return charts, true
}

func standardError(centre, n float64) float64 { return math.Sqrt(centre * (1 - centre) / n) }

// OutsideLimits is the probability that a share of n trials of probability p
// lies strictly beyond the limits: the false-alarm rate of one point of a p
// chart, exactly instead of by the normal tail.
func OutsideLimits(n int, p float64, limits stats.Interval) float64 {
	if p <= 0 || p >= 1 {
		return 0
	}
	low := int(math.Ceil(limits.Low*float64(n)-1e-9)) - 1
	high := int(math.Floor(limits.High*float64(n) + 1e-9))
	return stats.BinomialCDF(low, n, p) + 1 - stats.BinomialCDF(high, n, p)
}
