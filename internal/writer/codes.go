package writer

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"echotally/internal/layout"
	"echotally/internal/measurand"
	"echotally/internal/measurand/unmatched"
	"echotally/internal/term"
)

// codeRecord is one unmatched code as machines get it.
type codeRecord struct {
	ConceptName    code               `json:"conceptName"`
	ShortLabel     string             `json:"shortLabel,omitempty"`
	Modifiers      map[string]code    `json:"modifiers,omitempty"`
	Count          int                `json:"count"`
	Example        string             `json:"example"`
	Unit           string             `json:"unit"`
	Section        string             `json:"section,omitempty"`
	Manufacturer   string             `json:"manufacturer,omitempty"`
	SOPInstanceUID string             `json:"sopInstanceUID"`
	Item           string             `json:"item"`
	Suggestions    []suggestionRecord `json:"suggestions"`
}

type suggestionRecord struct {
	Measurand string  `json:"measurand"`
	Title     string  `json:"title"`
	Score     float64 `json:"score"`
	Why       string  `json:"why"`

	Confidence string `json:"confidence"`
}

// CodeFields are the modifiers shown with an unmatched code.
func CodeFields() []term.Field {
	return []term.Field{
		term.FindingSite, term.TopographicalModifier, term.Laterality, term.ImageMode, term.ImageView, term.FlowDirection,
		term.MeasurementMethod, term.CardiacCyclePoint, term.MeasurementDivisor,
	}
}

// Codes writes the codes that no measurand names, as text or as a JSON array.
func Codes(w io.Writer, f layout.Format, codes []unmatched.Code) error {
	if f == layout.JSON {
		return codesJSON(w, codes)
	}
	out := bufio.NewWriter(w)
	p := printer{layout.Printer{W: out}}
	if len(codes) == 0 {
		p.Line("Every measurement has a code that a measurand file names.")
		return out.Flush()
	}
	p.Line(layout.Count(len(codes), "code") + " that no measurand file names")
	for i := range codes {
		p.code(&codes[i])
	}
	return out.Flush()
}

func (p printer) code(u *unmatched.Code) {
	m := &u.Example
	p.Line("")
	p.Wrapped("", fmt.Sprintf("%s  %s:%s", layout.OrElse(m.ConceptName.CodeMeaning, "(no meaning)"), m.ConceptName.CodingSchemeDesignator, m.ConceptName.CodeValue))
	facts := []string{layout.Count(u.Count, "time"), "e.g. " + layout.OrElse(strings.TrimSpace(m.ValueText+" "+m.Unit.CodeValue), "no value")}
	if m.ShortLabel != "" {
		facts = append(facts, `label "`+m.ShortLabel+`"`)
	}
	if m.Section != "" {
		facts = append(facts, "section "+m.Section)
	}
	for _, f := range CodeFields() {
		if mod := measurand.ModifierOf(&m.Modifiers, f); mod != nil {
			facts = append(facts, fmt.Sprintf("%s %s", f, mod.Concept.CodeMeaning))
		}
	}
	if m.Equipment.Manufacturer != "" {
		facts = append(facts, "made by "+m.Equipment.Manufacturer)
	}
	p.Wrapped("  ", strings.Join(facts, "; "))
	for _, s := range u.Suggestions {
		p.Wrapped(fmt.Sprintf("  %-6s %.2f ", s.Confidence, s.Score), fmt.Sprintf("%s: %s (%s)", s.Measurand.Identifier, s.Measurand.Title, s.Why))
	}
	if len(u.Suggestions) == 0 {
		p.Line("  resembles no known measurand")
	}
}

func codesJSON(w io.Writer, codes []unmatched.Code) error {
	out := make([]codeRecord, 0, len(codes))
	for i := range codes {
		u := &codes[i]
		m := &u.Example
		r := codeRecord{
			ConceptName: codeOf(m.ConceptName), ShortLabel: m.ShortLabel, Count: u.Count,
			Example: strings.TrimSpace(m.ValueText + " " + m.Unit.CodeValue), Unit: m.Unit.CodeValue, Section: m.Section,
			Manufacturer: m.Equipment.Manufacturer, SOPInstanceUID: m.Source.SOPInstanceUID, Item: m.Source.Item,
			Modifiers: map[string]code{}, Suggestions: []suggestionRecord{},
		}
		for _, f := range CodeFields() {
			if c := modifierCode(measurand.ModifierOf(&m.Modifiers, f)); c != nil {
				r.Modifiers[string(f)] = *c
			}
		}
		for _, s := range u.Suggestions {
			r.Suggestions = append(r.Suggestions, suggestionRecord{s.Measurand.Identifier, s.Measurand.Title, s.Score, s.Why, string(s.Confidence)})
		}
		out = append(out, r)
	}
	return layout.Encode(w, true, out)
}
