package slip

import (
	"fmt"
	"slices"

	"echotally/internal/answer"
	"echotally/internal/finding"
	"echotally/internal/measurand"
)

// Into lists the slips of unit and geometry that, undone, bring a value
// into the interval that the other measurements imply.
func Into(m *measurand.Measurand, x, low, high float64) []finding.Hypothesis {
	var out []finding.Hypothesis
	for _, f := range factorsOf(m.Unit.Dimension(), m.Identifier, m.Unit.Code()) {
		again := slices.ContainsFunc(out, func(h finding.Hypothesis) bool { return h.Identifier == f.kind.identifier })
		if y := x * f.by; y >= low && y <= high && !again {
			out = append(out, finding.Hypothesis{Identifier: f.kind.identifier, Measurand: m.Identifier,
				Text: fmt.Sprintf("%s: %s instead of %s would fit", f.why, answer.WithUnit(y, m.Unit), answer.WithUnit(x, m.Unit))})
		}
	}
	return out
}
