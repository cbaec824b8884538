// Package rejudge owns judging studies again under another rule set, putting to
// them only what is not the same in both.
package rejudge

import (
	"maps"
	"reflect"
	"slices"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/judge"
	"echotally/internal/library"
	"echotally/internal/measurand"
	"echotally/internal/reduction"
	"echotally/internal/rule"
	"echotally/internal/tally"
)

// Rejudger judges studies again under another rule set. A rule by which every study
// comes to the same in both sets, all it rests on being the same, keeps its outcome where
// the study also keeps its protocols; only the others are put to the study.
type Rejudger struct {
	regraded      []regrading        // of the rules of the set after that keep their outcomes
	from          []int              // place in the set before of each rule of the set after that is the same, else -1
	changed       []*rule.Rule       // of the set after
	old, new, all *judge.Again       // by the set before; by what is changed after it, and by all that is after it
	settled       *settling          // nil where every study is looked at
	sameProtocols bool               // both sets choose the same protocols for every study
	Was, Is       *reduction.Reducer // for what each set makes of a study

	decide map[string]bool // measurands whose values decide what the rules that are not the same come to; nil where any may
	guess  bool            // one of these rules asks what a value that nothing names probably is

	before, after *library.Library
}

// regrading is that what a rule comes to is as grave as another version of it says.
type regrading struct {
	place   int // in the set after
	was, is finding.Severity
}

// New prepares for going from one rule set to another. It is for one
// goroutine.
func New(before, after *library.Library) *Rejudger {
	r := &Rejudger{from: make([]int, len(after.Rules)), Was: reduction.NewReducer(before), before: before, after: after}
	old := map[string]*rule.Rule{}
	for _, one := range before.Rules {
		old[one.File.Identifier] = one
	}
	foundation := before.Foundation == after.Foundation && judgedAlike(before.Measurands, after.Measurands)
	unmoved := func(one *rule.Rule) bool {
		return foundation && (before.Edition == after.Edition || !one.OnEdition()) &&
			// These ask for any measurand of the record.
			(one.File.ZScore == nil || len(before.Measurands.Measurands) == len(after.Measurands.Measurands))
	}
	likeness := func(one *rule.Rule) rule.Likeness {
		switch was := old[one.File.Identifier]; {
		case was == nil || !unmoved(one):
			return rule.Unlike
		case was.Digest() == one.Digest():
			return rule.AlikeInSeverity
		default:
			return one.Alike(was)
		}
	}
	r.sameProtocols = slices.EqualFunc(before.Protocols, after.Protocols, func(a, b *rule.Protocol) bool {
		return a.Identifier == b.Identifier && a.Digest == b.Digest && unmoved(b.Reading)
	})
	for i, one := range after.Rules {
		switch likeness(one) {
		case rule.Unlike:
			r.from[i] = -1
			r.changed = append(r.changed, one)
		case rule.AlikeInOutcome:
			r.regraded = append(r.regraded, regrading{i, old[one.File.Identifier].Severity, one.Severity})
			fallthrough
		case rule.AlikeInSeverity:
			r.from[i] = r.Was.Place(one.File.Identifier)
		}
	}
	r.decide, r.settled = r.decisive(), r.settling(old, unmoved)
	return r.Another()
}

func (r *Rejudger) decisive() map[string]bool {
	if !r.sameProtocols {
		return nil
	}
	out := map[string]bool{"": true}
	for _, one := range r.changed {
		r.guess = r.guess || one.Kind == finding.Consistency
		measurands, known := one.Decisive()
		if !known {
			return nil
		}
		for _, m := range measurands {
			out[m] = true
		}
	}
	return out
}

// Wanted tells of measurands, by their identifiers, "" for values that nothing names,
// whether their values decide what the rules that are not the same come to; nil where any
// value may. See [Rejudger.Widened].
func (r *Rejudger) Wanted() func(measurand string) bool {
	if r.decide == nil {
		return nil
	}
	decide := maps.Clone(r.decide)
	return func(measurand string) bool { return decide[measurand] }
}

// Widened reports that a study which was read with the values that were wanted is to be
// read again, since more are wanted now: a value that nothing names is probably what has
// no other value. A lab has few such codes, so that few studies are read twice.
func (r *Rejudger) Widened(s *echo.Study) bool {
	if r.decide == nil || !r.guess {
		return false
	}
	known := len(r.decide)
	for i := range s.Measurements {
		if m := &s.Measurements[i]; m.Measurand == "" && m.Role == echo.Result {
			if is := r.after.Measurands.Probably(m); is != nil {
				r.decide[is.Identifier] = true
			}
		}
	}
	return len(r.decide) > known
}

// Another is the same for another goroutine. What differs between the two sets, which
// takes every file of theirs, is not looked for again.
func (r *Rejudger) Another() *Rejudger {
	out := *r
	out.decide = maps.Clone(r.decide)
	out.Was, out.Is = reduction.NewReducer(r.before), reduction.NewReducer(r.after)
	out.old, out.new, out.all = judge.Over(r.before, r.before.Rules), judge.Over(r.after, r.changed), judge.Over(r.after, r.after.Rules)
	return &out
}

// judgedAlike reports whether what the first catalogue knows is the same in the
// second but for the codes by which it is found in a report and its place there. What is new there
// concerns only rules that name it.
func judgedAlike(before, after *measurand.Catalogue) bool {
	return !slices.ContainsFunc(before.Measurands, func(m *measurand.Measurand) bool {
		n := after.Find(m.Identifier)
		if n == nil {
			return true
		}
		a, b := *m, *n
		a.Codings, b.Codings = nil, nil
		a.Place, b.Place = 0, 0
		return !reflect.DeepEqual(a, b)
	})
}

// Before judges a study by the rule set before.
func (r *Rejudger) Before(s *echo.Study) (finding.Protocols, *tally.Outcomes) {
	protocols, verdicts := r.old.Verdicts(s, nil)
	return protocols, r.Was.Verdicts(nil, verdicts)
}

// Same reports whether both sets come to the same for every study but for how grave it
// is, so that none need be looked at.
func (r *Rejudger) Same() bool { return r.sameProtocols && len(r.changed) == 0 }

// After judges a study by the rule set after, given what the one before made of
// it. Slips are not looked for again: a result that is judged anew has no cause.
// The study is not looked at when both sets come to the same for every study, and may be nil
// when it is settled.
func (r *Rejudger) After(s *echo.Study, protocols finding.Protocols, results *tally.Outcomes) (finding.Protocols, *tally.Outcomes) {
	if r.Same() || s == nil {
		return protocols, r.carried(results)
	}
	known := &protocols
	if !r.sameProtocols {
		known = nil
	}
	now, verdicts := r.new.Verdicts(s, known)
	if !slices.Equal(holding(now), holding(protocols)) {
		_, verdicts = r.all.Verdicts(s, &now)
		return now, r.Is.Verdicts(nil, verdicts)
	}
	return now, r.Is.Verdicts(r.carried(results), verdicts)
}

// carried is what the rules that keep their outcomes came to.
func (r *Rejudger) carried(results *tally.Outcomes) *tally.Outcomes {
	out := r.Is.Carry(results, r.from)
	for _, one := range r.regraded {
		out.Regrade(one.place, one.was, one.is)
	}
	return out
}

// holding are the identifiers of the protocols that hold.
func holding(p finding.Protocols) []string {
	out := []string{p.Base.Identifier}
	for _, one := range p.Triggered {
		out = append(out, one.Identifier)
	}
	return out
}
