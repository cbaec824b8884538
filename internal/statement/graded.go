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
	all := make([]string, 0, len(g.Findings))
	for _, f := range g.Findings {
		all = append(all, f.Words...)
	}
	for i, f := range g.Findings {
		at := fmt.Sprintf("$.graded.findings[%d]", i)
		if ld.c.byID[f.Statement] == nil {
			ld.fault(at+".statement", fmt.Sprintf("no statement is called %q", f.Statement), suggest(f.Statement, slices.Collect(maps.Keys(ld.c.byID))))
			continue
		}
		for k, grade := range g.Grades {
			def := ld.c.byID[f.Statement+"-"+grade.Grade]
			if def == nil {
				def = ld.c.byID[f.Statement+"-"+grade.Else]
			}
			if def == nil {
				continue
			}
			finding, degree := either(f.Words), either(grade.Words)
			at := fmt.Sprintf("$.graded.grades[%d].words", k)
			never := make([]string, 0, len(g.Unless)+1)
			for _, u := range g.Unless {
				never = append(never, strings.ReplaceAll(strings.ReplaceAll(u, "{grade}", degree), "{finding}", finding))
			}
			unless := slices.Clip(never)
			if len(g.Other) > 0 {
				unless = append(unless, finding+" ~ "+degree+" ~ "+either(g.Other))
			}
			for _, p := range ld.patterns([]string{degree + " ~ " + finding, finding + " ~ " + degree}, at) {
				ld.c.words.add(&phrase{pattern: p, def: def, unless: ld.patterns(unless, at)})
			}
			// "TR (moderate)", "TR, moderate": nothing may follow that the grade is of.
			for _, p := range ld.patterns([]string{finding + " " + degree}, at) {
				ld.c.words.add(&phrase{pattern: p, def: def, alone: true, unless: ld.patterns(append(slices.Clip(never), degree+" ~ "+either(all)), at)})
			}
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

func either(words []string) string { return "(" + strings.Join(words, "|") + ")" }
