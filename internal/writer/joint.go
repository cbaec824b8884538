package writer

import (
	"fmt"
	"strings"

	"echotally/internal/finding"
	"echotally/internal/layout"
	"echotally/internal/ucum"
)

// jointLines say in words what the study's redundant measurements tell when
// they are taken together; nil when nothing is redundant. That they fit is not
// said beside a contradiction.
func (b *sheetBuilder) jointLines(r *finding.Reconciliation, contradicted bool) []string {
	if r == nil {
		return nil
	}
	if r.Problem != "" {
		return []string{"The measurements could not be taken together: " + r.Problem + "."}
	}
	used := 0
	for _, u := range r.Relations {
		if u.Aside == "" {
			used++
		}
	}
	basis := " (" + layout.CountOf(used, "relation", "relations") + " between them)"
	if len(r.Suspects) == 0 {
		switch {
		case r.Settled && contradicted:
			return nil
		case r.Settled:
			return []string{"The measurements fit together" + basis + "."}
		}
		return []string{"All values taken together do not fit" + basis + ", and none of them alone explains it."}
	}
	var out []string
	for _, round := range r.Suspects {
		out = append(out, b.suspectLine(round))
	}
	if !r.Settled {
		out = append(out, "Even without these the rest does not fit.")
	}
	return out
}

func (b *sheetBuilder) suspectLine(round []finding.Suspect) string {
	parts := make([]string, len(round))
	for i, s := range round {
		name := s.Title
		if m := find(b.measurands, s.Measurand); m != nil {
			name = m.Short
		}
		parts[i] = fmt.Sprintf("%s %s", name, amount(s.Value, s.Unit))
		if s.Estimable {
			parts[i] += fmt.Sprintf(" (the others imply %s%s)", amount(s.Estimate, s.Unit), boundsOf(s))
		}
	}
	if len(parts) == 1 {
		line := "Most likely wrong, all values taken together: " + parts[0] + "."
		if causes := round[0].Causes; len(causes) > 0 {
			line += " Perhaps " + causes[0].Text + "."
		}
		return line
	}
	return "One of these is likely wrong, all values taken together; the numbers cannot tell which: " + strings.Join(parts, "; ") + "."
}

// boundsOf writes the interval as far as it is bounded.
func boundsOf(s finding.Suspect) string {
	switch {
	case s.Low != nil && s.High != nil:
		return "; " + amount(*s.Low, "1") + " to " + amount(*s.High, s.Unit)
	case s.Low != nil:
		return "; at least " + amount(*s.Low, s.Unit)
	case s.High != nil:
		return "; at most " + amount(*s.High, s.Unit)
	}
	return ""
}

func amount(x float64, unit string) string {
	u, _ := ucum.Parse(unit) // a measurand's unit has been read before
	return withUnit(fmt.Sprintf("%.3g", x), u.Display())
}

func lowerFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}

// reconciliationRecord is the machine form.
type reconciliationRecord struct {
	ChiSquare        finite            `json:"chiSquare"`
	DegreesOfFreedom int               `json:"degreesOfFreedom"`
	PValue           finite            `json:"pValue"`
	FamilyWiseLevel  finite            `json:"familyWiseLevel"`
	Settled          bool              `json:"settled"`
	Problem          string            `json:"problem,omitempty"`
	Relations        []string          `json:"relations"`
	Aside            []asideRecord     `json:"aside,omitempty"`
	Residuals        []residualRecord  `json:"residuals"`
	Suspects         [][]suspectRecord `json:"suspects"`
}

type asideRecord struct {
	Identifier string `json:"identifier"`
	Reason     string `json:"reason"`
}

type residualRecord struct {
	Measurand  string  `json:"measurand"`
	Value      finite  `json:"value"`
	Reconciled finite  `json:"reconciled"`
	Unit       string  `json:"unit"`
	Normalised *finite `json:"normalisedResidual"` // null when nothing else bears on it
}

type suspectRecord struct {
	Measurand string  `json:"measurand"`
	Value     finite  `json:"value"`
	Implied   *finite `json:"implied,omitempty"` // nil when the others imply nothing
	Low       *finite `json:"low,omitempty"`
	High      *finite `json:"high,omitempty"`
	Unit      string  `json:"unit"`
}

func newReconciliationRecord(r *finding.Reconciliation) *reconciliationRecord {
	if r == nil {
		return nil
	}
	out := &reconciliationRecord{ChiSquare: finite(r.ChiSquare), DegreesOfFreedom: r.Freedom, PValue: short(r.PValue), FamilyWiseLevel: finite(r.Level), Settled: r.Settled,
		Problem: r.Problem, Relations: []string{}, Residuals: []residualRecord{}, Suspects: [][]suspectRecord{}}
	for _, u := range r.Relations {
		if u.Aside != "" {
			out.Aside = append(out.Aside, asideRecord{u.Identifier, u.Aside})
			continue
		}
		out.Relations = append(out.Relations, u.Identifier)
	}
	for _, s := range r.Residuals {
		one := residualRecord{Measurand: s.Measurand, Value: finite(s.Value), Reconciled: short(s.Reconciled), Unit: s.Unit}
		if s.Testable {
			one.Normalised = shortOf(&s.Z)
		}
		out.Residuals = append(out.Residuals, one)
	}
	for _, round := range r.Suspects {
		var list []suspectRecord
		for _, s := range round {
			one := suspectRecord{Measurand: s.Measurand, Value: finite(s.Value), Unit: s.Unit}
			if s.Estimable {
				one.Implied, one.Low, one.High = shortOf(&s.Estimate), shortOf(s.Low), shortOf(s.High)
			}
			list = append(list, one)
		}
		out.Suspects = append(out.Suspects, list)
	}
	return out
}

func shortOf(x *float64) *finite {
	if x == nil {
		return nil
	}
	d := short(*x)
	return &d
}
