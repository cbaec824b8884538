package tally

import "iter"

// Times counts how often the rules came to what, over studies: ten thousand studies are
// millions of results, and next to every figure of an audit is made of these.
type Times struct{ sets []timesOf }

// timesOf are the times of the rules of one set.
type timesOf struct {
	rules []*Rule
	times [][MaxCodes]int32 // by place and code
}

// MaxCodes is how many codes there are, and a few more: a power of two.
const MaxCodes = 32

// Add counts the results of one more study.
func (t *Times) Add(o *Outcomes) {
	if o == nil || len(o.rules) == 0 {
		return
	}
	times := t.of(o.rules)
	for i, code := range o.codes {
		times[i][code%MaxCodes]++
	}
}

// of are the times of a rule set. Studies that one reducer reduced share theirs.
func (t *Times) of(rules []*Rule) [][MaxCodes]int32 {
	for i := range t.sets {
		if known := &t.sets[i]; len(known.rules) == len(rules) && &known.rules[0] == &rules[0] {
			return known.times
		}
	}
	made := timesOf{rules, make([][MaxCodes]int32, len(rules))}
	t.sets = append(t.sets, made)
	return made.times
}

// All gives what rules came to in some study and in how many, without causes. A rule of
// several sets comes with each of them.
func (t *Times) All() iter.Seq2[Result, int] {
	return func(yield func(Result, int) bool) {
		for _, set := range t.sets {
			for i, rule := range set.rules {
				for code, n := range set.times[i] {
					if code == 0 || n == 0 {
						continue
					}
					if is := &said[code]; !yield(Result{Rule: rule, Outcome: is.outcome, Severity: is.severity}, int(n)) {
						return
					}
				}
			}
		}
	}
}
