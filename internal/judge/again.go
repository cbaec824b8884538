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
	needs   [][][]int      // of each rule, in lists of measurands, of each of which a study must have one; nil before it is asked for
	numbers map[string]int // of the measurands some rule needs
	room    *answer.Reading
	has     []bool // by their numbers, whether the study has them
}

// Over prepares for judging many studies again by rules of a library.
func Over(lib *library.Library, rules []*rule.Rule) *Again {
	return &Again{library: lib, rules: rules, needs: make([][][]int, len(rules)), numbers: map[string]int{}}
}

// Verdicts puts the rules to a study. What does not apply is left out. The
// protocols are chosen anew unless they are known.
func (a *Again) Verdicts(s *echo.Study, known *finding.Protocols) (finding.Protocols, []check.Verdict) {
	r := a.room
	if r == nil {
		r = answer.Read(a.library, s)
		a.room = r
	} else {
		r.Turn(a.library, s)
	}
	if known == nil {
		chosen := check.Protocols(r)
		known = &chosen
	}
	a.read(r)
	c := check.New(r, check.Holding(*known)...)
	out := make([]check.Verdict, 0, len(a.rules)/2)
	for i, one := range a.rules {
		if a.lacks(i, r) {
			continue
		}
		if v := c.Verdict(one); v.Outcome != finding.NotApplicable {
			out = append(out, v)
		}
	}
	return *known, out
}

// read notes which measurands the study has.
func (a *Again) read(r *answer.Reading) {
	clear(a.has)
	for _, m := range r.Measurands() {
		if n, known := a.numbers[m]; known {
			a.has[n] = true
		}
	}
}

// lacks reports whether the study has no value of what a rule cannot apply
// without.
func (a *Again) lacks(i int, r *answer.Reading) bool {
	if a.needs[i] == nil {
		a.needs[i] = a.needed(a.rules[i], r)
	}
	for _, any := range a.needs[i] {
		if !slices.ContainsFunc(any, func(n int) bool { return a.has[n] }) {
			return true
		}
	}
	return false
}

func (a *Again) needed(one *rule.Rule, r *answer.Reading) [][]int {
	out := [][]int{}
	one.Prepare()
	if one.When == nil {
		return out
	}
	for _, name := range one.AliasNames() {
		if !one.When.Needs(name) {
			continue
		}
		var any []int
		for _, m := range one.Aliases[name].Measurands {
			n, known := a.numbers[m.Identifier]
			if !known {
				n = len(a.has)
				a.numbers[m.Identifier] = n
				a.has = append(a.has, len(r.Of(m.Identifier)) > 0)
			}
			any = append(any, n)
		}
		out = append(out, any)
	}
	return out
}
