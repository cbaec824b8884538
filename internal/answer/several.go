package answer

import (
	"echotally/internal/finding"
	"echotally/internal/measurand"
	"echotally/internal/rule"
)

// Several lists the measurands with more than one individual value, and which of
// them every rule that names no view or phase goes by.
func (r *Reading) Several() []finding.Several {
	var out []finding.Several
	for _, identifier := range r.Measurands() {
		if len(r.Of(identifier)) < 2 {
			continue
		}
		m := r.Library.Measurands.Find(identifier)
		if m == nil {
			continue
		}
		b := r.bind(&rule.Alias{Name: identifier, Measurands: []*measurand.Measurand{m}, Unit: m.Unit, Counts: m.Counts})
		singles := b.Individuals()
		if len(singles) < 2 {
			continue
		}
		one := finding.Several{Measurand: identifier, Chosen: b.Chosen.Measurement, Value: b.Chosen.X, Low: singles[0].X, High: singles[0].X, Unit: m.Unit.Code(), Why: b.Note}
		for _, i := range singles {
			one.Values = append(one.Values, i.Measurement)
			one.Low, one.High = min(one.Low, i.X), max(one.High, i.X)
		}
		out = append(out, one)
	}
	return out
}
