package labaudit

import (
	"slices"

	"echotally/internal/check"
	"echotally/internal/echo"
	"echotally/internal/rule"
)

// Rejudger judges studies again under another rule set. A rule that is the same
// in both sets, to the byte and with all it rests on, keeps its outcome where
// the study also keeps its protocols; only the others are put to the study.
type Rejudger struct {
	before, after *rule.Set
	kept          map[string]bool
	changed       []*rule.Rule // of the set after
	sameProtocols bool         // both sets choose the same protocols for every study
	was, is       *Reducer
}

// NewRejudger prepares for going from one rule set to another. It is for one
// goroutine.
func NewRejudger(before, after *rule.Set) *Rejudger {
	r := &Rejudger{
		before: before, after: after, kept: map[string]bool{},
		was: NewReducer(before), is: NewReducer(after),
	}
	digests := map[string]string{}
	for _, one := range before.Rules {
		digests[one.File.Identifier] = one.Digest
	}
	foundation := before.Foundation == after.Foundation
	unmoved := func(one *rule.Rule) bool { return foundation && (before.Edition == after.Edition || !one.OnEdition()) }
	same := func(one *rule.Rule) bool { return unmoved(one) && digests[one.File.Identifier] == one.Digest }
	r.sameProtocols = foundation && !slices.ContainsFunc(after.Protocols, func(p *rule.Protocol) bool { return !unmoved(p.Reading) })
	for _, one := range after.Rules {
		if r.kept[one.File.Identifier] = same(one); !same(one) {
			r.changed = append(r.changed, one)
		}
	}
	return r
}

// Before judges a study by the rule set before.
func (r *Rejudger) Before(s *echo.Study) (check.Protocols, []Result) {
	protocols, verdicts := check.Verdicts(r.before, s, r.before.Rules, nil)
	return protocols, r.was.results(verdicts)
}

// After judges a study by the rule set after, given what the one before made of
// it. Slips are not looked for again: a result that is judged anew has no cause.
func (r *Rejudger) After(s *echo.Study, protocols check.Protocols, results []Result) (check.Protocols, []Result) {
	known := &protocols
	if !r.sameProtocols {
		known = nil
	}
	now, verdicts := check.Verdicts(r.after, s, r.changed, known)
	out := r.is.results(verdicts)
	for _, one := range results {
		if r.kept[one.Rule.Identifier] {
			out = append(out, one)
		}
	}
	return now, out
}
