// Package wall owns the segments of the left ventricular wall that an example in a rule
// file describes.
package wall

import (
	"fmt"
	"slices"
	"strings"

	"echotally/internal/library"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/rule"
	"echotally/internal/term"
	"echotally/internal/ucum"
)

// Segments builds the segments of an example.
func Segments(set *library.Library, given []rule.ExampleSegments) []echo.Segment {
	if len(given) == 0 {
		return nil
	}
	var out []echo.Segment
	free := wallSegments(set.Terms)
	for _, g := range given {
		for range max(g.Count, 1) {
			site := g.Site
			if site == "" {
				if len(free) == 0 {
					break // an example with more segments than there are
				}
				site, free = free[0], free[1:]
			}
			out = append(out, segmentOf(set, g, site, len(out)+1))
		}
	}
	return out
}

func segmentOf(set *library.Library, g rule.ExampleSegments, site string, number int) echo.Segment {
	s := echo.Segment{
		Site: *termCode(set, term.FindingSite, site), Scheme: termCode(set, term.ScoringScheme, g.Scheme),
		Finding: termCode(set, term.WallMotion, g.Finding), Source: echo.Source{SOPInstanceUID: "2.25.2", Item: fmt.Sprintf("1.9.%d", number)},
	}
	if g.Finding == rule.OtherFinding {
		s.Finding = &coding.CodedConcept{CodeValue: "example", CodingSchemeDesignator: "99EXAMPLE", CodeMeaning: g.Finding}
	}
	if stage := termCode(set, term.Stage, g.Stage); stage != nil {
		s.Stage = &echo.Modifier{Concept: *stage, Written: *stage, Level: echo.ItemLevel}
	}
	if d, _, err := ucum.ParseDecimal(string(g.Score)); err == nil {
		s.Score = &ucum.Quantity{Value: d}
	}
	return s
}

// termCode is the code to write for a term, nil when there is none of the name.
func termCode(set *library.Library, field term.Field, name string) *coding.CodedConcept {
	t := set.Terms.Find(field, name)
	if t == nil {
		return nil
	}
	out := t.Concept()
	return &out
}

// wallSegments lists the names of the segments: those of the model of 17 first.
func wallSegments(terms *term.Catalogue) []string {
	out := slices.DeleteFunc(terms.Names(term.FindingSite), func(name string) bool {
		return terms.Find(term.FindingSite, name).Wall != term.WallSegment
	})
	slices.SortStableFunc(out, func(a, b string) int {
		scheme := func(name string) string { return terms.Find(term.FindingSite, name).Codes[0].CodingSchemeDesignator }
		return -strings.Compare(scheme(a), scheme(b)) // CID 3717 is of SCT
	})
	return out
}
