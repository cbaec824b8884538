package rejudge

import (
	"slices"

	"echotally/internal/finding"
	"echotally/internal/rejudge/scope"
	"echotally/internal/rule"
	"echotally/internal/tally"
)

// settling is where the rules that changed apply to the same studies as before.
type settling struct {
	places []int // of their versions before, in the set before
	named  bool  // only in studies in which every value is named: elsewhere one of them may contradict a value that is guessed
}

// settling finds out whether some studies need not be looked at; nil when all do.
func (r *Rejudger) settling(old map[string]*rule.Rule, unmoved func(*rule.Rule) bool) *settling {
	if !r.sameProtocols {
		return nil
	}
	out := &settling{}
	for _, one := range r.changed {
		was := old[one.File.Identifier]
		if was == nil || !unmoved(one) || !scope.Same(was, one) {
			return nil
		}
		out.places = append(out.places, r.Was.Place(one.File.Identifier))
		out.named = out.named || one.Kind == finding.Consistency
	}
	return out
}

// Settled reports whether a study need not be looked at, given what the rules before came
// to: none of those that changed applies to it, nor will. Named says that none of its values
// is under a code that nothing names.
func (r *Rejudger) Settled(results *tally.Outcomes, named bool) bool {
	s := r.settled
	return s != nil && (named || !s.named) && !slices.ContainsFunc(s.places, results.Applies)
}
