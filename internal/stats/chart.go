package stats

import "math"

// Chart is a control chart: a centre line, limits per point and the points
// beyond them.
type Chart struct {
	Values  []float64
	Centre  float64
	Limits  []Interval
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
func PChart(points []Proportion, baseline int) Chart {
	return attributes(points, baseline, 1, func(centre, n float64) float64 { return math.Sqrt(centre * (1 - centre) / n) }, 1)
}

// UChart is the chart of counts per unit (NIST/SEMATECH e-Handbook 6.3.3.1):
// Count events in Total units.
func UChart(points []Proportion, baseline int) Chart {
	return attributes(points, baseline, math.Inf(1), func(centre, n float64) float64 { return math.Sqrt(centre / n) }, 1)
}

// PrimeChart is the p′ chart (Laney DB. Quality Engineering 2002;14:531-537):
// the limits of PChart widened, or narrowed, by the point-to-point variation of
// the standardised values.
func PrimeChart(points []Proportion, baseline int) Chart {
	plain := PChart(points, baseline)
	return attributes(points, baseline, 1, func(centre, n float64) float64 { return math.Sqrt(centre * (1 - centre) / n) },
		laney(points, plain, baseline))
}

func attributes(points []Proportion, baseline int, top float64, se func(centre, n float64) float64, sigma float64) Chart {
	var count, total int
	for _, p := range points[:span(baseline, len(points))] {
		count, total = count+p.Count, total+p.Total
	}
	c := Chart{Centre: float64(count) / float64(total), SigmaZ: sigma}
	for i, p := range points {
		c.Values = append(c.Values, p.Value())
		half := 3 * sigma * se(c.Centre, float64(p.Total))
		limits := Interval{math.Max(0, c.Centre-half), math.Min(top, c.Centre+half)}
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
func beyond(v float64, l Interval) bool {
	noise := 1e-9 * (1 + math.Abs(v))
	return v > l.High+noise || v < l.Low-noise
}

func laney(points []Proportion, plain Chart, baseline int) float64 {
	var standard []float64
	for i, p := range points[:span(baseline, len(points))] {
		if p.Total > 0 {
			se := math.Sqrt(plain.Centre * (1 - plain.Centre) / float64(p.Total))
			standard = append(standard, (plain.Values[i]-plain.Centre)/se)
		}
	}
	return meanMovingRange(standard) / d2
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
	limits := Interval{c.Centre - 3*mr/d2, c.Centre + 3*mr/d2}
	for i, v := range x {
		c.Limits = append(c.Limits, limits)
		if beyond(v, limits) {
			c.Signals = append(c.Signals, i)
		}
	}
	return c, d4 * mr
}

// Overdispersed reports whether a p chart of these points varies more than
// chance allows at the 5 % level: the chi-square of the points about the centre
// against its 95 % point. Then PrimeChart is the chart to show.
func Overdispersed(points []Proportion, baseline int) bool {
	c := PChart(points, baseline)
	chi, n := 0.0, 0
	for i, p := range points[:span(baseline, len(points))] {
		if p.Total == 0 || c.Centre <= 0 || c.Centre >= 1 {
			continue
		}
		d := c.Values[i] - c.Centre
		chi += d * d * float64(p.Total) / (c.Centre * (1 - c.Centre))
		n++
	}
	return n > 2 && chiSquareSurvival(chi, n-1) < 0.05
}
