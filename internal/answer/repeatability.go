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
