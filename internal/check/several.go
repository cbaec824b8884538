package check

import (
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/library"
	"echotally/internal/measurand"
	"echotally/internal/rule"
)

// Several has moved to finding.
type Several = finding.Several

// SeveralValues lists the measurands with more than one individual value, and
// which of them every rule that names no view or phase goes by.
func SeveralValues(set *library.Library, s *echo.Study) []Several {
	r := read(set, s)
	var out []Several
	for _, identifier := range sortedNames(r.byMeasurand) {
		m := set.Measurands.Find(identifier)
		if m == nil {
			continue
		}
		b := r.bindAlias(&rule.Alias{Name: identifier, Measurands: []*measurand.Measurand{m}, Unit: m.Unit, Counts: m.Counts})
		singles := b.individuals()
		if len(singles) < 2 {
			continue
		}
		one := Several{Measurand: identifier, Chosen: b.chosen.m, Value: b.chosen.x, Low: singles[0].x, High: singles[0].x, Unit: m.Unit.Code(), Why: b.note}
		for _, i := range singles {
			one.Values = append(one.Values, i.m)
			one.Low, one.High = min(one.Low, i.x), max(one.High, i.x)
		}
		out = append(out, one)
	}
	return out
}
