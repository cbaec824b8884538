package ruletest

import (
	"errors"
	"slices"
	"strings"

	"echotally/internal/example"
	"echotally/internal/library"

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
func Unnoticed(set *library.Library, r *rule.Rule) []string {
	all := mutants(r)
	out := unread(r, all)
	for _, m := range all {
		changed, err := compiled(set, r.Path, m.text)
		if err != nil {
			out = append(out, m.what+": "+err.Error())
		} else if !noticed(set, changed) {
			out = append(out, m.what)
		}
	}
	return out
}

// compiled reads a rule against the library, without adding it.
func compiled(set *library.Library, path string, text []byte) (*rule.Rule, error) {
	s := &rule.Source{Path: path, Text: text}
	if err := s.Decode(); err != nil {
		return nil, err
	}
	r, faults := set.Compile(s)
	return r, errors.Join(faults...)
}

// noticed reports whether an example comes to another outcome or severity than
// it says; another number in the message alone tells nothing of a limit.
func noticed(set *library.Library, r *rule.Rule) bool {
	return slices.ContainsFunc(r.File.Examples, func(ex rule.Example) bool {
		outcome, severity, err := example.Outcome(set, r, ex)
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

// unread lists the numbers that decide and were not found in the file's text, so
// that none is passed over in silence.
func unread(r *rule.Rule, all []mutant) []string {
	var out []string
	for _, name := range decides(r) {
		p := r.Parameters[name]
		if p == nil {
			continue
		}
		want, got := 2*len(p.Cases), 0
		if !p.Value.IsZero() {
			want += 2
		}
		for _, m := range all {
			if strings.HasPrefix(m.what, name+": ") {
				got++
			}
		}
		if what := name + ": not all its numbers are written as {value: …}"; got != want && !slices.Contains(out, what) {
			out = append(out, what)
		}
	}
	return out
}
