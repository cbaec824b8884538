// Package unmatched owns the codes that no measurand file names: it gathers
// them over an audit, asks which measurands they most likely mean, and drafts
// the site file that would name them. It decides nothing; a person edits the
// draft.
package unmatched

import (
	"sort"
	"strings"

	"echotally/internal/audit"
	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/measurand"
	"echotally/internal/term"
)

// Code is a concept name that matched no measurand, with the modifiers under
// which it was met.
type Code struct {
	Concept     coding.CodedConcept // as first met
	Modifiers   []Modifier          // those that can tell one quantity from another
	ShortLabel  string
	Count       int
	Studies     int
	Example     string // a value as written, with its unit
	Unit        coding.CodedConcept
	Section     string
	Device      string // maker and model that sent it first
	Source      echo.Source
	Suggestions []measurand.Suggestion // best first
}

// Modifier is an effective modifier with the field it stands in.
type Modifier struct {
	Field   term.Field
	Concept coding.CodedConcept
}

// List gathers the unmatched codes of the audit, the most frequent first, each
// with at most n suggestions. Duplicates and nested items are left out: they
// carry no quantity of their own.
func List(a *audit.Audit, n int) []Code {
	found := map[string]*Code{}
	study := map[string]string{}
	var order []string
	for _, s := range a.Studies {
		if s.Study == nil {
			continue
		}
		for i := range s.Study.Measurements {
			m := &s.Study.Measurements[i]
			if m.Measurand != "" || m.Role != echo.Result || m.DuplicateOf != nil {
				continue
			}
			key := identity(m)
			c := found[key]
			if c == nil {
				c = newCode(a, m, n)
				found[key] = c
				order = append(order, key)
			}
			c.Count++
			if study[key] != s.StudyInstanceUID {
				study[key] = s.StudyInstanceUID
				c.Studies++
			}
		}
	}
	sort.SliceStable(order, func(i, j int) bool {
		x, y := found[order[i]], found[order[j]]
		if x.Count != y.Count {
			return x.Count > y.Count
		}
		return order[i] < order[j]
	})
	out := make([]Code, 0, len(order))
	for _, key := range order {
		out = append(out, *found[key])
	}
	return out
}

func newCode(a *audit.Audit, m *echo.Measurement, n int) *Code {
	c := &Code{
		Concept: m.ConceptName, Modifiers: modifiers(m), ShortLabel: m.ShortLabel, Unit: m.Unit, Section: m.Section,
		Example: strings.TrimSpace(m.ValueText + " " + m.Unit.CodeValue), Source: m.Source,
		Device: strings.TrimSpace(m.Equipment.Manufacturer + " " + m.Equipment.ManufacturerModelName),
	}
	if a.Measurands != nil {
		c.Suggestions = a.Measurands.Suggest(m, n)
	}
	return c
}

func identity(m *echo.Measurement) string {
	parts := []string{m.ConceptName.Key().String(), m.ShortLabel}
	for _, mod := range modifiers(m) {
		parts = append(parts, string(mod.Field)+"="+mod.Concept.Key().String())
	}
	return strings.Join(parts, "\x00")
}

// modifiers lists those that make one quantity differ from another. View,
// phase of breathing, derivation and selection tell values of one quantity
// apart and are left out.
func modifiers(m *echo.Measurement) []Modifier {
	var out []Modifier
	add := func(f term.Field, mod *echo.Modifier) {
		if mod != nil {
			out = append(out, Modifier{f, mod.Concept})
		}
	}
	add(term.FindingSite, m.Modifiers.FindingSite)
	add(term.TopographicalModifier, m.Modifiers.TopographicalModifier)
	add(term.Laterality, m.Modifiers.Laterality)
	add(term.ImageMode, m.Modifiers.ImageMode)
	add(term.FlowDirection, m.Modifiers.FlowDirection)
	add(term.MeasurementMethod, m.Modifiers.MeasurementMethod)
	add(term.CardiacCyclePoint, m.Modifiers.CardiacCyclePoint)
	add(term.MeasurementDivisor, m.Modifiers.MeasurementDivisor)
	return out
}
