package slip

import (
	"fmt"
	"slices"

	"echotally/internal/answer"
	"echotally/internal/finding"
	"echotally/internal/measurand"
	"echotally/internal/mistake"
)

// Into lists the slips of unit and geometry that, undone, bring a value
// into the interval that the other measurements imply.
func Into(table *mistake.Table, m *measurand.Measurand, x, low, high float64) []finding.Hypothesis {
	var out []finding.Hypothesis
	for _, f := range table.Factors(m, m.Unit) {
		again := slices.ContainsFunc(out, func(h finding.Hypothesis) bool { return h.Identifier == f.Slip.Identifier })
		if y := x * f.By; y >= low && y <= high && !again {
			out = append(out, finding.Hypothesis{Identifier: f.Slip.Identifier, Measurand: m.Identifier,
				Text: fmt.Sprintf("%s: %s instead of %s would fit", f.Why, answer.WithUnit(y, m.Unit), answer.WithUnit(x, m.Unit))})
		}
	}
	return out
}
