package judge

import (
	"slices"

	"echotally/internal/answer"
	"echotally/internal/check"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/library"
	"echotally/internal/rule"
)

// Again puts rules to many studies without a word of why. It is for one
// goroutine.
type Again struct {
	library *library.Library
	rules   []*rule.Rule
	needs   [][]oneOf // of each rule; nil before it is asked for
	reading *answer.Reading
	checker *check.Checker
}

// oneOf are measurands, by their places in the catalogue, of which a study must have
// one.
type oneOf []int

// Over prepares for judging many studies again by rules of a library.
func Over(lib *library.Library, rules []*rule.Rule) *Again {
	return &Again{library: lib, rules: rules, needs: make([][]oneOf, len(rules))}
}

// Verdicts puts the rules to a study. What does not apply is left out. The
// protocols are chosen anew unless they are known.
func (a *Again) Verdicts(s *echo.Study, known *finding.Protocols) (finding.Protocols, []check.Verdict) {
	if a.reading == nil {
		a.reading = answer.Read(a.library, s)
		a.checker = check.New(a.reading)
	} else {
		a.reading.Turn(a.library, s)
	}
	r, c := a.reading, a.checker
	if known == nil {
		chosen := check.Protocols(r)
		known = &chosen
	}
	c.Turn(r, check.Holding(*known)...)
	out := make([]check.Verdict, 0, len(a.rules)/2)
	for i, one := range a.rules {
		if a.lacks(i, r) && (one.Kind != finding.Consistency || !c.Guesses()) {
			continue
		}
		if v := c.Verdict(one); v.Outcome != finding.NotApplicable {
			out = append(out, v)
		}
	}
	return *known, out
}

// lacks reports whether the study has no value of what a rule cannot apply
// without.
func (a *Again) lacks(i int, r *answer.Reading) bool {
	if a.needs[i] == nil {
		a.needs[i] = needed(a.rules[i])
	}
	for _, places := range a.needs[i] {
		if !slices.ContainsFunc(places, r.Has) {
			return true
		}
	}
	return false
}

func needed(one *rule.Rule) []oneOf {
	out := []oneOf{}
	one.Prepare()
	if one.When == nil {
		return out
	}
	for _, alias := range one.AliasList() {
		if !one.When.Needs(alias.Name) {
			continue
		}
		places := make(oneOf, len(alias.Measurands))
		for i, m := range alias.Measurands {
			places[i] = m.Place
		}
		out = append(out, places)
	}
	return out
}
