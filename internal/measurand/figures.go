package measurand

import (
	"fmt"

	"echotally/internal/ucum"
)

// What is published of a measurand beside its codes, as written.

type repeatability struct {
	Value  float64 `yaml:"value"`
	Unit   string  `yaml:"unit"`
	Kind   string  `yaml:"kind"`
	Source string  `yaml:"source"`
}

// repeatability reads the published figure; nil when there is none or it is
// faulty.
func (l *loading) repeatability(s *source, at string, m *Measurand, r *repeatability) *Repeatability {
	if r == nil {
		return nil
	}
	out := &Repeatability{Value: r.Value, Kind: RepeatabilityKind(r.Kind), Source: r.Source}
	var err error
	out.Unit, err = ucum.Parse(r.Unit)
	switch {
	case r.Value <= 0:
		l.fault(s, at+".value", "repeatability is not above zero", "")
	case r.Source == "":
		l.fault(s, at, "repeatability without source", "name the publication, or write from memory")
	case err != nil:
		l.fault(s, at+".unit", err.Error(), unitHint(r.Unit))
	case out.Kind == CoefficientOfVariation && r.Unit != "%":
		l.fault(s, at+".unit", "a coefficient of variation in "+r.Unit, "write it in %")
	case out.Kind == StandardDeviation && !out.Unit.Convertible(m.Unit):
		l.fault(s, at+".unit", fmt.Sprintf("%s cannot be converted to %s, the unit of %s", r.Unit, m.Unit, m.Identifier), "")
	case out.Kind != CoefficientOfVariation && out.Kind != StandardDeviation:
		l.fault(s, at+".kind", "unknown kind "+r.Kind, "cv or sd")
	default:
		return out
	}
	return nil
}

// cutOff adds a cut-off to the measurand, in its unit.
func (l *loading) cutOff(s *source, at string, m *Measurand, c cutOff) {
	unit, err := ucum.Parse(c.Unit)
	switch {
	case err != nil:
		l.fault(s, at+".unit", err.Error(), unitHint(c.Unit))
		return
	case !unit.Convertible(m.Unit):
		l.fault(s, at+".unit", fmt.Sprintf("%s cannot be converted to %s, the unit of %s", c.Unit, m.Unit, m.Identifier), "")
		return
	case c.Title == "" || c.Source == "":
		l.fault(s, at, "a cut-off without title or source", "name the publication, or write site choice")
		return
	case c.Within <= 0:
		l.fault(s, at, "a cut-off around which nothing is counted", "within: how far from it values are counted, above nought")
		return
	}
	factor, err := unit.FactorTo(m.Unit)
	if err != nil {
		l.fault(s, at+".unit", err.Error(), "")
		return
	}
	f, _ := factor.Float64()
	m.CutOffs = append(m.CutOffs, CutOff{c.Title, c.Value * f, c.Within * f, c.Source})
}
