package catalogue

import (
	"bufio"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"echotally/internal/layout"
	"echotally/internal/measurand"
	"echotally/internal/term"
)

// MeasurandRecord is a measurand as machines get it. Fields may be added, never
// changed.
type MeasurandRecord struct {
	Identifier    string         `json:"identifier"`
	Title         string         `json:"title"`
	Short         string         `json:"short"`
	Abbreviations []string       `json:"abbreviations"`
	Structure     string         `json:"structure"`
	Unit          string         `json:"unit"`
	Counts        string         `json:"counts"` // which of several values stands for the study
	Codings       []CodingRecord `json:"codings"`
}

// CodingRecord is one way a report may code a measurand.
type CodingRecord struct {
	ConceptName string              `json:"conceptName"`          // scheme:value
	Conditions  map[string][]string `json:"conditions,omitempty"` // by modifier: names of terms, or absent
	Source      string              `json:"source"`
}

// Measurands writes a list of measurands, as text or as JSON.
func Measurands(w io.Writer, c *measurand.Catalogue, list []*measurand.Measurand, format layout.Format) error {
	records := make([]MeasurandRecord, len(list))
	for i, m := range list {
		records[i] = measurandRecord(c, m)
	}
	if format == layout.JSON {
		return layout.Encode(w, true, records)
	}
	b := bufio.NewWriter(w)
	for i, r := range records {
		if i > 0 {
			fmt.Fprintln(b)
		}
		fmt.Fprintf(b, "%s  [%s]  %s\n", r.Identifier, r.Unit, r.Structure)
		wrap(b, "  ", strings.Join(layout.NonEmpty(r.Title, different(r.Short, r.Title), strings.Join(r.Abbreviations, ", ")), "; "))
		for _, g := range r.Codings {
			wrap(b, "  ", g.words())
		}
	}
	return b.Flush()
}

// different is a text, "" when it says the same as another.
func different(text, from string) string {
	if text == from {
		return ""
	}
	return text
}

func measurandRecord(c *measurand.Catalogue, m *measurand.Measurand) MeasurandRecord {
	r := MeasurandRecord{
		Identifier: m.Identifier, Title: m.Title, Short: m.Short, Abbreviations: c.Abbreviations(m), Structure: m.Structure,
		Unit: m.Unit.Code(), Counts: string(m.Counts), Codings: []CodingRecord{},
	}
	if r.Abbreviations == nil {
		r.Abbreviations = []string{}
	}
	for i := range m.Codings {
		r.Codings = append(r.Codings, codingRecord(c.Terms, &m.Codings[i]))
	}
	return r
}

func codingRecord(terms *term.Catalogue, g *measurand.Coding) CodingRecord {
	r := CodingRecord{ConceptName: g.ConceptName.String(), Conditions: map[string][]string{}, Source: g.Source}
	put := func(key string, condition *measurand.Condition) {
		for _, code := range condition.Codes {
			name := code.String()
			if t := terms.Of(condition.Field, code); t != nil {
				name = t.Name
			}
			if !slices.Contains(r.Conditions[key], name) {
				r.Conditions[key] = append(r.Conditions[key], name)
			}
		}
		if condition.Absent {
			r.Conditions[key] = append(r.Conditions[key], "absent")
		}
	}
	for i := range g.Conditions {
		put(string(g.Conditions[i].Field), &g.Conditions[i])
	}
	if g.Section != nil {
		put("section", g.Section)
	}
	if g.Dimension != nil {
		r.Conditions["dimension"] = []string{g.Dimension.Code()}
	}
	for key, text := range map[string]string{"shortLabel": g.ShortLabel, "manufacturer": g.Manufacturer} {
		if text != "" {
			r.Conditions[key] = []string{text}
		}
	}
	return r
}

// words are the code, what must stand beside it, and who says so.
func (g CodingRecord) words() string {
	var with []string
	for _, key := range slices.Sorted(maps.Keys(g.Conditions)) {
		with = append(with, key+" "+strings.Join(g.Conditions[key], " or "))
	}
	text := g.ConceptName
	if len(with) > 0 {
		text += " with " + strings.Join(with, ", ")
	}
	return text + " (" + g.Source + ")"
}
