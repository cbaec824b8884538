package labaudit

import (
	"echotally/internal/check"
	"echotally/internal/echo"
	"echotally/internal/finding"
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
}

// NewRejudger prepares for going from one rule set to another.
func NewRejudger(before, after *rule.Set) *Rejudger {
	r := &Rejudger{before: before, after: after, kept: map[string]bool{}, sameProtocols: before.Foundation == after.Foundation}
	digests := map[string]string{}
	for _, one := range before.Rules {
		digests[one.File.Identifier] = one.Digest
	}
	for _, one := range after.Rules {
		if r.sameProtocols && digests[one.File.Identifier] == one.Digest {
			r.kept[one.File.Identifier] = true
		} else {
			r.changed = append(r.changed, one)
		}
	}
	return r
}

// Before judges a study by the rule set before.
func (r *Rejudger) Before(s *echo.Study) (check.Protocols, []finding.Result) {
	return check.Outcomes(r.before, s, r.before.Rules, nil)
}

// After judges a study by the rule set after, given what the one before made of
// it.
func (r *Rejudger) After(s *echo.Study, protocols check.Protocols, results []finding.Result) (check.Protocols, []finding.Result) {
	if !r.sameProtocols {
		return check.Outcomes(r.after, s, r.after.Rules, nil)
	}
	now, fresh := check.Outcomes(r.after, s, r.changed, &protocols)
	for _, one := range results {
		if r.kept[one.Rule] && one.Outcome != finding.NotApplicable {
			fresh = append(fresh, one)
		}
	}
	return now, fresh
}
