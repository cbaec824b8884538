package answer

import (
	"math"
	"slices"

	"echotally/internal/echo"
	"echotally/internal/measurand"
)

// repeatabilityFactor turns the spread of single readings into the limit that
// the difference of two readings stays below 95 times in 100: 1.96 times the
// square root of 2 (Bland JM, Altman DG. BMJ 1996;313:744).
const repeatabilityFactor = 2.77

// Repeatability is the limit within which two readings of the alias should
// agree, at the value that counts and in the unit of the alias; NaN when there
// is no value or no published figure.
func (b *Binding) Repeatability() float64 {
	r := b.reading
	m := b.Alias.Measurands[0]
	if b.Chosen.Measurement != nil {
		m = r.Library.Measurands.Find(b.Chosen.Measurement.Measurand)
	}
	if m == nil || m.Repeatability == nil || math.IsNaN(b.Chosen.X) {
		return math.NaN()
	}
	limit := repeatabilityFactor * m.Repeatability.Value / 100 * math.Abs(b.Chosen.X)
	if m.Repeatability.Kind == measurand.StandardDeviation {
		factor, err := m.Repeatability.Unit.FactorTo(b.Alias.Unit)
		if err != nil {
			return math.NaN()
		}
		f, _ := factor.Float64()
		limit = repeatabilityFactor * m.Repeatability.Value * f
	}
	return limit * r.widened()
}

// rangeFactors turn the limit of two readings into that of the range of so
// many: quantiles of 0.95 of the studentized range with known deviation, 2.772
// of two, 3.314 of three, over that of two (Harter HL. Ann Math Statist
// 1960;31:1122).
var rangeFactors = []float64{2: 1, 1.196, 1.311, 1.392, 1.454, 1.504, 1.546, 1.583, 1.614,
	1.642, 1.667, 1.690, 1.711, 1.730, 1.748, 1.765, 1.780, 1.795, 1.808}

// SpreadLimit is the limit below which the spread of all single values stays 95
// times in 100, where only reading them makes them differ; more than twenty are
// taken as twenty. NaN where Spread or Repeatability is.
func (b *Binding) SpreadLimit() float64 {
	values := b.ofSingles(2, func(singles []Item) float64 { return float64(len(singles)) })
	if math.IsNaN(values) {
		return values
	}
	return b.Repeatability() * rangeFactors[min(int(values), len(rangeFactors)-1)]
}

// widened is how much wider repeated readings of this study lie: the largest
// factor of what it states.
func (r *Reading) widened() float64 {
	out := 1.0
	for identifier, said := range r.said {
		def := r.Library.Statements.Find(identifier)
		if def != nil && slices.ContainsFunc(said, func(s *echo.Statement) bool { return !s.Negated }) {
			out = max(out, def.Widens)
		}
	}
	return out
}
