package writer

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"echotally/internal/unmatched"
)

// codeRecord is one unmatched code as machines get it.
type codeRecord struct {
	ConceptName    code               `json:"conceptName"`
	ShortLabel     string             `json:"shortLabel,omitempty"`
	Modifiers      map[string]code    `json:"modifiers,omitempty"`
	Count          int                `json:"count"`
	Studies        int                `json:"studies"`
	Example        string             `json:"example"`
	Unit           string             `json:"unit"`
	Section        string             `json:"section,omitempty"`
	Device         string             `json:"device,omitempty"`
	SOPInstanceUID string             `json:"sopInstanceUID"`
	Item           string             `json:"item"`
	Suggestions    []suggestionRecord `json:"suggestions"`
}

type suggestionRecord struct {
	Measurand string  `json:"measurand"`
	Title     string  `json:"title"`
	Score     float64 `json:"score"`
	Why       string  `json:"why"`
}

// Codes writes the codes that no measurand names, as text or, for every other
// format, as one JSON array.
func Codes(w io.Writer, f Format, codes []unmatched.Code) error {
	if f != Text {
		return codesJSON(w, codes)
	}
	p := printer{bufio.NewWriter(w)}
	if len(codes) == 0 {
		p.line("Every measurement has a code that a measurand file names.")
		return p.w.Flush()
	}
	p.line(fmt.Sprintf("%s that no measurand file names", count(len(codes), "code")))
	for _, c := range codes {
		p.line("")
		p.wrapped("", fmt.Sprintf("%s  %s:%s", orElse(c.Concept.CodeMeaning, "(no meaning)"), c.Concept.CodingSchemeDesignator, c.Concept.CodeValue))
		facts := []string{fmt.Sprintf("%d times in %s", c.Count, countOf(c.Studies, "study", "studies")), "e.g. " + orElse(c.Example, "no value")}
		if c.ShortLabel != "" {
			facts = append(facts, `label "`+c.ShortLabel+`"`)
		}
		if c.Section != "" {
			facts = append(facts, "section "+c.Section)
		}
		for _, m := range c.Modifiers {
			facts = append(facts, fmt.Sprintf("%s %s", m.Field, m.Concept.CodeMeaning))
		}
		p.wrapped("  ", strings.Join(append(facts, c.Device), "; "))
		for _, s := range c.Suggestions {
			p.wrapped(fmt.Sprintf("  %.2f ", s.Score), fmt.Sprintf("%s: %s (%s)", s.Measurand.Identifier, s.Measurand.Title, s.Why))
		}
		if len(c.Suggestions) == 0 {
			p.line("  resembles no known measurand")
		}
	}
	return p.w.Flush()
}

func codesJSON(w io.Writer, codes []unmatched.Code) error {
	out := make([]codeRecord, 0, len(codes))
	for _, c := range codes {
		r := codeRecord{
			ConceptName: codeOf(c.Concept), ShortLabel: c.ShortLabel, Count: c.Count, Studies: c.Studies, Example: c.Example,
			Unit: c.Unit.CodeValue, Section: c.Section, Device: c.Device, SOPInstanceUID: c.Source.SOPInstanceUID, Item: c.Source.Item,
			Modifiers: map[string]code{}, Suggestions: []suggestionRecord{},
		}
		for _, m := range c.Modifiers {
			r.Modifiers[string(m.Field)] = codeOf(m.Concept)
		}
		for _, s := range c.Suggestions {
			r.Suggestions = append(r.Suggestions, suggestionRecord{s.Measurand.Identifier, s.Measurand.Title, s.Score, s.Why})
		}
		out = append(out, r)
	}
	return encode(w, true, out)
}

func countOf(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
