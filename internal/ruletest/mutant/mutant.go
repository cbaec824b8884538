// Package mutant is test support: it changes a rule in one place at a time, and says
// which changes its examples do not notice.
package mutant

import (
	"errors"
	"slices"

	"echotally/internal/example"
	"echotally/internal/library"

	"echotally/internal/rule"
)

// mutant is a rule changed in one place that its examples should notice.
type mutant struct {
	what string
	file rule.File
}

// Unnoticed changes a rule in one place at a time and lists the changes no
// example of it notices: a comparison that lets the limit itself change sides,
// and a number moved by the smallest step it is written with. An example
// exactly at each limit and one just beyond notice both.
func Unnoticed(set *library.Library, r *rule.Rule) []string {
	var out []string
	examples := r.File.AllExamples() // of the rule as it is: those of a changed rule would change with it
	for _, m := range mutants(r) {
		changed, err := compiled(set, r, m.file)
		if err != nil {
			out = append(out, m.what+": "+err.Error())
		} else if !noticed(set, changed, examples) {
			out = append(out, m.what)
		}
	}
	return out
}

// compiled compiles a changed rule against the library, without adding it.
func compiled(set *library.Library, r *rule.Rule, file rule.File) (*rule.Rule, error) {
	changed, faults := set.Compile(&rule.Source{Path: r.Path, Text: r.Source, File: file})
	return changed, errors.Join(faults...)
}

// noticed reports whether an example comes to another outcome or severity than
// it says; another number in the message alone tells nothing of a limit.
func noticed(set *library.Library, r *rule.Rule, examples []rule.Example) bool {
	return slices.ContainsFunc(examples, func(ex rule.Example) bool {
		outcome, severity, err := example.Outcome(set, r, ex)
		return err != nil || string(outcome) != ex.Outcome || ex.Severity != "" && string(severity) != ex.Severity
	})
}

// mutants lists the changes of one rule.
func mutants(r *rule.Rule) []mutant {
	var out []mutant
	for _, p := range places(r.File) {
		for _, edits := range []func(string) []edit{comparisons, ends, literals, repeatabilities} {
			for _, e := range edits(p.text) {
				changed := r.File
				p.put(&changed, e.text)
				out = append(out, mutant{p.key + ": " + e.what, changed})
			}
		}
	}
	return slices.Concat(out, ages(r.File), parameters(r))
}
