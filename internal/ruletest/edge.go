package ruletest

import (
	"maps"
	"slices"
	"strings"

	"echotally/internal/check"
	"echotally/internal/datafile"
	"echotally/internal/finding"
	"echotally/internal/rule"
)

// Edges lists what a rule that recomputes a value lacks: an example at the
// limit, whose stated value passes and with one more or less in its last digit
// would not, and one just beyond, which fails and so would pass. The limit lies
// where the rounding of the numbers and the allowance end, so no number in the
// file can be moved to find it.
func Edges(set *rule.Set, r *rule.Rule) []string {
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
		if !slices.ContainsFunc(r.File.Examples, func(ex rule.Example) bool {
			return ex.Outcome == string(want.outcome) && turns(set, r, ex, want.other)
		}) {
			out = append(out, want.words)
		}
	}
	return out
}

// turns reports whether the outcome becomes another when a stated value moves
// by one in its last digit.
func turns(set *rule.Set, r *rule.Rule, ex rule.Example, into finding.Outcome) bool {
	stated := r.Recompute.Stated
	for i, g := range ex.Given[stated] {
		number, unit, _ := strings.Cut(string(g.Value), " ")
		for _, step := range []int64{-1, 1} {
			moved := ex
			moved.Given = maps.Clone(ex.Given)
			moved.Given[stated] = slices.Clone(ex.Given[stated])
			moved.Given[stated][i].Value = datafile.Written(stepped(number, step) + " " + unit)
			if outcome(set, r, moved) == into {
				return true
			}
		}
	}
	return false
}

// outcome puts a rule to an example it does not have.
func outcome(set *rule.Set, r *rule.Rule, ex rule.Example) finding.Outcome {
	one := *r
	one.File.Examples = []rule.Example{ex}
	return check.RunExamples(set, &one)[0].Result.Outcome
}

// NeverOpen says which example comes out open once some of its values, or age
// and sex, are taken out, when no example of the rule is open. The lint demands
// an open example by what the expressions ask for; this asks the rule itself.
func NeverOpen(set *rule.Set, r *rule.Rule) []string {
	if slices.ContainsFunc(r.File.Examples, func(ex rule.Example) bool { return ex.Outcome == string(finding.Open) }) {
		return nil
	}
	for _, ex := range r.File.Examples {
		for _, less := range without(ex) {
			if outcome(set, r, less) == finding.Open {
				return []string{"no example comes to open, but " + ex.Title + " does without some of its values"}
			}
		}
	}
	return nil
}

// maxTaken bounds the aliases of which every combination is taken out.
const maxTaken = 6

// without lists an example with every part of its values taken out, and with
// nothing known of the patient.
func without(ex rule.Example) []rule.Example {
	nobody := ex
	nobody.Subject = &rule.Person{}
	out := []rule.Example{nobody}
	names := slices.Sorted(maps.Keys(ex.Given))
	for taken := 1; taken < 1<<min(len(names), maxTaken); taken++ {
		less := ex
		less.Given = maps.Clone(ex.Given)
		for i, name := range names {
			if taken>>i&1 == 1 {
				delete(less.Given, name)
			}
		}
		out = append(out, less)
	}
	return out
}
