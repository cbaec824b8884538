package review

import (
	"slices"

	"echotally/internal/answer"
	"echotally/internal/echo"
	"echotally/internal/library"
)

// Reported is what was reported of a case, by item.
type Reported struct {
	Values map[string]float64 `json:"values,omitempty"` // by measurand, in the unit of the item
	Grades map[string]string  `json:"grades,omitempty"` // by lesion, a step of its scale
}

// ReportedOf is what a study reports of the items: of each measurement the value
// that counts of the first measurand it has, of each lesion its grade where one is
// said and no other.
func ReportedOf(lib *library.Library, items *Items, s *echo.Study) Reported {
	out := Reported{Values: map[string]float64{}, Grades: map[string]string{}}
	reading := answer.Read(lib, s)
	for _, m := range items.Measurements {
		for i, alias := range m.aliases {
			if b := reading.Aliased(alias); len(b.Items) > 0 {
				out.Values[m.Measurands[i].Identifier] = b.Chosen.X
				break
			}
		}
	}
	for _, g := range items.Grades {
		if said := g.said(s); len(said) == 1 {
			out.Grades[g.Lesion] = said[0]
		}
	}
	return out
}

// said are the steps of the scale that the study states.
func (g Grade) said(s *echo.Study) []string {
	var out []string
	for _, step := range g.Scale {
		id := g.statement(step)
		if slices.ContainsFunc(s.Statements, func(st echo.Statement) bool { return st.Identifier == id && !st.Negated }) {
			out = append(out, step)
		}
	}
	return out
}
