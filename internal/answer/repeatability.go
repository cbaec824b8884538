package answer

import (
	"math"

	"echotally/internal/measurand"
)

// repeatabilityFactor turns the spread of single readings into the limit that
// the difference of two readings stays below 95 times in 100: 1.96 times the
// square root of 2 (Bland JM, Altman DG. BMJ 1996;313:744).
const repeatabilityFactor = 2.77

// widening is how much the limit grows in atrial fibrillation and with a poor
// image: site choice, no figure has been published that covers all quantities.
const widening = 1.5

// widened are the statements that widen the limit.
var widened = []string{"atrial-fibrillation", "image-quality-poor", "poor-acoustic-window"}

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
	for _, identifier := range widened {
		if r.says(identifier) {
			return limit * widening
		}
	}
	return limit
}

// says reports whether the record makes the statement.
func (r *Reading) says(identifier string) bool {
	for _, s := range r.said[identifier] {
		if !s.Negated {
			return true
		}
	}
	return false
}
