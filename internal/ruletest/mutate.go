package ruletest

import (
	"slices"

	"echotally/internal/check"
	"echotally/internal/rule"
)

// mutant is a rule file changed in one place that its examples should notice.
type mutant struct {
	what string
	text []byte
}

// Unnoticed changes a rule in one place at a time and lists the changes no
// example of it notices: a comparison that lets the limit itself change sides,
// and a number moved by the smallest step it is written with. An example
// exactly at each limit and one just beyond notice both.
func Unnoticed(set *rule.Set, r *rule.Rule) []string {
	var out []string
	for _, m := range mutants(r) {
		changed, err := set.Compile(r.Path, m.text)
		if err != nil {
			out = append(out, m.what+": "+err.Error())
		} else if !noticed(set, changed) {
			out = append(out, m.what)
		}
	}
	return out
}

// noticed reports whether an example comes to another outcome or severity than
// it says; another number in the message alone tells nothing of a limit.
func noticed(set *rule.Set, r *rule.Rule) bool {
	return slices.ContainsFunc(r.File.Examples, func(ex rule.Example) bool {
		outcome, severity, err := check.ExampleOutcome(set, r, ex)
		return err != nil || string(outcome) != ex.Outcome || ex.Severity != "" && string(severity) != ex.Severity
	})
}

// mutants lists the changes of one rule.
func mutants(r *rule.Rule) []mutant {
	var out []mutant
	for _, s := range deciding(r.Source) {
		out = append(out, comparisons(r.Source, s)...)
		out = append(out, ends(r.Source, s)...)
		out = append(out, ages(r.Source, s)...)
		out = append(out, literals(r.Source, s)...)
		out = append(out, repeatabilities(r.Source, s)...)
	}
	return append(out, parameters(r)...)
}
