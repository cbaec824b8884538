package statement

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// graded is the part of a language file that says how findings are graded: each
// finding goes with each grade, in either order, so that neither list is written
// out for the other.
type graded struct {
	Grades []struct {
		Grade string   `yaml:"grade"`
		Else  string   `yaml:"else"` // the grade of a finding that has no such one
		Words []string `yaml:"words"`
	} `yaml:"grades"`
	Other    []string `yaml:"other"`  // words a grade before them belongs to
	Unless   []string `yaml:"unless"` // patterns with {grade} and {finding} that make it another's or an earlier one
	Findings []struct {
		Statement string   `yaml:"statement"`
		Words     []string `yaml:"words"`
	} `yaml:"findings"`
	Examples []struct {
		Statement string `yaml:"statement"`
		Text      string `yaml:"text"`
		States    bool   `yaml:"states"`
		Negated   bool   `yaml:"negated"`
	} `yaml:"examples"`
}

// graded adds the phrases of every finding with every grade it may have.
func (ld *loader) graded(g *graded) {
	degrees := make([][][]literal, len(g.Grades))
	all := make([]string, 0, len(g.Findings))
	for k, grade := range g.Grades {
		degrees[k] = ld.choices(grade.Words, fmt.Sprintf("$.graded.grades[%d].words", k))
	}
	for _, f := range g.Findings {
		all = append(all, f.Words...)
	}
	for i, f := range g.Findings {
		at := fmt.Sprintf("$.graded.findings[%d]", i)
		if ld.c.byID[f.Statement] == nil {
			ld.fault(at+".statement", fmt.Sprintf("no statement is called %q", f.Statement), suggest(f.Statement, slices.Collect(maps.Keys(ld.c.byID))))
			continue
		}
		finding := part{choices: ld.choices(f.Words, at+".words")}
		for k, grade := range g.Grades {
			def := ld.c.byID[f.Statement+"-"+grade.Grade]
			if def == nil {
				def = ld.c.byID[f.Statement+"-"+grade.Else]
			}
			degree := part{choices: degrees[k]}
			if def == nil || finding.choices == nil || degree.choices == nil {
				continue
			}
			at := fmt.Sprintf("$.graded.grades[%d].words", k)
			unless := ld.exceptions(at, func() []string {
				out := g.never(either(f.Words), either(grade.Words))
				if len(g.Other) > 0 {
					out = append(out, either(f.Words)+" ~ "+either(grade.Words)+" ~ "+either(g.Other))
				}
				return out
			})
			for _, p := range []*pattern{{[]part{degree, {gap: true}, finding}}, {[]part{finding, {gap: true}, degree}}} {
				ld.phrase(&phrase{pattern: p, def: def, unless: unless}, at)
			}
			// "TR (moderate)", "TR, moderate": nothing may follow that the grade is of.
			ld.phrase(&phrase{pattern: &pattern{[]part{finding, degree}}, def: def, alone: true, unless: ld.exceptions(at, func() []string {
				return append(g.never(either(f.Words), either(grade.Words)), either(grade.Words)+" ~ "+either(all))
			})}, at)
		}
	}
	for k, ex := range g.Examples {
		if ld.c.byID[ex.Statement] == nil {
			ld.fault(fmt.Sprintf("$.graded.examples[%d].statement", k), fmt.Sprintf("no statement is called %q", ex.Statement), "")
		}
		ld.c.examples = append(ld.c.examples, example{
			file: ld.name, places: ld.places, path: fmt.Sprintf("$.graded.examples[%d].text", k),
			statement: ex.Statement, text: ex.Text, states: ex.States, negated: ex.Negated,
		})
	}
}

// never are the patterns that make a grade another's or an earlier one.
func (g *graded) never(finding, degree string) []string {
	out := make([]string, 0, len(g.Unless)+1)
	for _, u := range g.Unless {
		out = append(out, strings.ReplaceAll(strings.ReplaceAll(u, "{grade}", degree), "{finding}", finding))
	}
	return out
}

func either(words []string) string { return "(" + strings.Join(words, "|") + ")" }
