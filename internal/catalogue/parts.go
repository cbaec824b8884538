package catalogue

import (
	"maps"
	"slices"

	"echotally/internal/rule"
)

// Part is one of the things a rule says of itself, with what it is called.
type Part struct{ Label, Text string }

// Parts are what a rule says of itself, in the order in which it is read.
func Parts(r *rule.Rule) []Part {
	var out []Part
	for _, p := range paragraphs(r) {
		out = append(out, Part{p.label, p.text})
	}
	return out
}

// Number is a number of a rule with its origin.
type Number struct {
	Name, Value, Unit, Origin string // the value is "" where it depends on the patient or edition
	Words                     string // all that the rule says of it
}

// NumbersOf are the numbers of a rule, by name.
func NumbersOf(r *rule.Rule) []Number {
	var out []Number
	words := parameterLines(r, "")
	for i, name := range slices.Sorted(maps.Keys(r.File.Parameters)) {
		p := r.File.Parameters[name]
		out = append(out, Number{name, string(p.Value), p.Unit, p.Origin, words[i]})
	}
	return out
}

// Takes reports whether the filter chooses the rule.
func (f Filter) Takes(r *rule.Rule) bool { return f.takes(r) }
