package writer

import (
	"fmt"
	"strings"

	"echotally/internal/finding"
	"echotally/internal/ucum"
)

// jointLines say in words what the study's redundant measurements tell when
// they are taken together; nil when nothing is redundant.
func jointLines(r *finding.Reconciliation) []string {
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
	basis := " (" + countOf(used, "relation", "relations") + " between them)"
	if len(r.Suspects) == 0 {
		if r.Settled {
			return []string{"The measurements fit together" + basis + "."}
		}
		return []string{"The measurements do not fit together" + basis + ", and none of them alone explains it."}
	}
	out := []string{"The measurements do not fit together" + basis + "."}
	for _, round := range r.Suspects {
		out = append(out, suspectLine(round))
	}
	if !r.Settled {
		out = append(out, "Even without these the rest does not fit.")
	}
	for _, u := range r.Relations {
		if u.Aside != "" {
			out = append(out, "Set aside: "+lowerFirst(u.Title)+" ("+u.Aside+").")
		}
	}
	return out
}

func suspectLine(round []finding.Suspect) string {
	parts := make([]string, len(round))
	for i, s := range round {
		parts[i] = fmt.Sprintf("%s %s", s.Title, amount(s.Value, s.Unit))
		if s.Estimable {
			parts[i] += fmt.Sprintf(" (the others imply %s%s)", amount(s.Estimate, s.Unit), boundsOf(s))
		}
	}
	if len(parts) == 1 {
		line := "The one most likely wrong: " + parts[0] + "."
		if causes := round[0].Causes; len(causes) > 0 {
			line += " Perhaps " + causes[0].Text + "."
		}
		return line
	}
	return "One of these is likely wrong, the numbers cannot tell which: " + strings.Join(parts, "; ") + "."
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
	ChiSquare        float64           `json:"chiSquare"`
	DegreesOfFreedom int               `json:"degreesOfFreedom"`
	PValue           float64           `json:"pValue"`
	FamilyWiseLevel  float64           `json:"familyWiseLevel"`
	Settled          bool              `json:"settled"`
	Problem          string            `json:"problem,omitempty"`
	Relations        []relationRecord  `json:"relations"`
	Residuals        []residualRecord  `json:"residuals"`
	Suspects         [][]suspectRecord `json:"suspects"`
}

type relationRecord struct {
	Identifier string `json:"identifier"`
	Aside      string `json:"aside,omitempty"`
}

type residualRecord struct {
	Measurand  string   `json:"measurand"`
	Value      float64  `json:"value"`
	Reconciled float64  `json:"reconciled"`
	Unit       string   `json:"unit"`
	Normalised *float64 `json:"normalisedResidual"` // null when nothing else bears on it
}

type suspectRecord struct {
	Measurand string   `json:"measurand"`
	Value     float64  `json:"value"`
	Implied   *float64 `json:"implied,omitempty"` // nil when the others imply nothing
	Low       *float64 `json:"low,omitempty"`
	High      *float64 `json:"high,omitempty"`
	Unit      string   `json:"unit"`
}

func newReconciliationRecord(r *finding.Reconciliation) *reconciliationRecord {
	if r == nil {
		return nil
	}
	out := &reconciliationRecord{ChiSquare: r.ChiSquare, DegreesOfFreedom: r.Freedom, PValue: r.PValue, FamilyWiseLevel: r.Level, Settled: r.Settled,
		Problem: r.Problem, Relations: []relationRecord{}, Residuals: []residualRecord{}, Suspects: [][]suspectRecord{}}
	for _, u := range r.Relations {
		out.Relations = append(out.Relations, relationRecord{u.Identifier, u.Aside})
	}
	for _, s := range r.Residuals {
		one := residualRecord{Measurand: s.Measurand, Value: s.Value, Reconciled: s.Reconciled, Unit: s.Unit}
		if s.Testable {
			one.Normalised = &s.Z
		}
		out.Residuals = append(out.Residuals, one)
	}
	for _, round := range r.Suspects {
		var list []suspectRecord
		for _, s := range round {
			one := suspectRecord{Measurand: s.Measurand, Value: s.Value, Unit: s.Unit}
			if s.Estimable {
				one.Implied, one.Low, one.High = &s.Estimate, s.Low, s.High
			}
			list = append(list, one)
		}
		out.Suspects = append(out.Suspects, list)
	}
	return out
}
