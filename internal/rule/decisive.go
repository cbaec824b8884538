package rule

import (
	"slices"

	"echotally/internal/expr"
)

// Decisive are the measurands whose values decide what becomes of the rule, by their
// identifiers, beside values that nothing names and all that is said without a number;
// ok is false where any value of the record may. It completes the rule.
func (r *Rule) Decisive() (measurands []string, ok bool) {
	r.Complete()
	if r.File.Forbid != nil || r.ZScore != nil || len(r.Images) > 0 || r.AboutImages {
		return nil, false
	}
	programs := slices.Clone(r.programs)
	if r.When != nil {
		programs = append(programs, r.When)
	}
	for _, e := range r.SeverityIf {
		programs = append(programs, e.When)
	}
	for _, p := range programs {
		if slices.ContainsFunc(p.Inputs, expr.Input.AboutAnyValue) {
			return nil, false
		}
	}
	for _, a := range r.Aliases {
		for _, m := range a.Measurands {
			measurands = append(measurands, m.Identifier)
		}
	}
	return measurands, true
}
