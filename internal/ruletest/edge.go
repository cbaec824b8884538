package ruletest

import (
	"fmt"
	"iter"
	"maps"
	"slices"
	"strings"

	"echotally/internal/datafile/written"
	"echotally/internal/example"
	"echotally/internal/library"

	"echotally/internal/finding"
	"echotally/internal/rule"
)

// Edges lists what a rule that recomputes a value lacks: an example at the
// limit, whose stated value passes and with one more or less in its last digit
// would not, and one just beyond, which fails and so would pass. The limit lies
// where the rounding of the numbers and the allowance end, so no number in the
// file can be moved to find it.
func Edges(set *library.Library, r *rule.Rule) []string {
	if r.Recompute == nil {
		return nil
	}
	var out []string
	for _, want := range []struct {
		outcome, other finding.Outcome
		words          string
	}{
		{finding.Pass, finding.Fail, "no example at the limit: a stated value that passes and one digit further would fail"},
		{finding.Fail, finding.Pass, "no example just beyond: a stated value that fails and one digit nearer would pass"},
	} {
		if !slices.ContainsFunc(r.File.AllExamples(), func(ex rule.Example) bool {
			return ex.Outcome == string(want.outcome) && turns(set, r, ex, want.other)
		}) {
			out = append(out, want.words)
		}
	}
	return out
}

// turns reports whether the outcome becomes another when a stated value moves
// by one in its last digit.
func turns(set *library.Library, r *rule.Rule, ex rule.Example, into finding.Outcome) bool {
	stated := r.Recompute.Stated
	for i, g := range ex.Given[stated] {
		number, unit, _ := strings.Cut(string(g.Value), " ")
		for _, step := range []int64{-1, 1} {
			moved := ex
			moved.Given = maps.Clone(ex.Given)
			moved.Given[stated] = slices.Clone(ex.Given[stated])
			moved.Given[stated][i].Value = rule.Stepped(written.Text(number), step) + written.Text(" "+unit)
			if comesTo(set, r, moved, into) {
				return true
			}
		}
	}
	return false
}

// comesTo reports whether a rule comes to an outcome with an example it does not
// have.
func comesTo(set *library.Library, r *rule.Rule, ex rule.Example, want finding.Outcome) bool {
	got, _, err := example.Outcome(set, r, ex)
	return err == nil && got == want
}

// NeverOpen says which example comes out open once something is taken out of
// it, when no example of the rule is open. The lint demands an open example by
// what the expressions ask for; this asks the rule itself.
func NeverOpen(set *library.Library, r *rule.Rule) []string {
	if slices.ContainsFunc(r.File.AllExamples(), func(ex rule.Example) bool { return ex.Outcome == string(finding.Open) }) {
		return nil
	}
	for _, ex := range r.File.AllExamples() {
		for how, less := range without(ex) {
			if comesTo(set, r, less, finding.Open) {
				return []string{fmt.Sprintf("no example comes to open, but %q does %s", ex.Title, how)}
			}
		}
	}
	return nil
}

// maxTaken bounds the aliases of which every combination is taken out.
const maxTaken = 6

// without goes through what may keep a rule from telling: any part of an
// example's values gone, a value of zero (nothing is divided by it), nothing
// stated, nothing known of the patient.
func without(ex rule.Example) iter.Seq2[string, rule.Example] {
	return func(yield func(string, rule.Example) bool) {
		silent, nobody := ex, ex
		silent.Stated, silent.Denied, nobody.Subject = nil, nil, &rule.Person{}
		if !yield("with nothing stated", silent) || !yield("without age and sex", nobody) {
			return
		}
		names := slices.Sorted(maps.Keys(ex.Given))
		for _, name := range names {
			if slices.ContainsFunc(ex.Given[name], func(g rule.Given) bool { return g.Value == rule.AnyValue }) {
				continue
			}
			if !yield("with "+name+" of zero", zeroed(ex, name)) {
				return
			}
		}
		for taken := 1; taken < 1<<min(len(names), maxTaken); taken++ {
			less, gone := ex, []string{}
			less.Given = maps.Clone(ex.Given)
			for i, name := range names {
				if taken>>i&1 == 1 {
					delete(less.Given, name)
					gone = append(gone, name)
				}
			}
			if !yield("without "+strings.Join(gone, ", "), less) {
				return
			}
		}
	}
}

// zeroed is an example with every value of an alias zero.
func zeroed(ex rule.Example, name string) rule.Example {
	ex.Given = maps.Clone(ex.Given)
	ex.Given[name] = slices.Clone(ex.Given[name])
	for i, g := range ex.Given[name] {
		_, unit, _ := strings.Cut(string(g.Value), " ")
		ex.Given[name][i].Value = written.Text("0 " + unit)
	}
	return ex
}
