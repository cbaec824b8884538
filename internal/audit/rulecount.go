package audit

import (
	"iter"
	"slices"
	"strings"

	"echotally/internal/finding"
	"echotally/internal/tally"
)

// RuleCount is one rule counted over the studies of a period: a completeness rule over
// the eligible studies, a consistency rule over those that were read.
type RuleCount struct {
	Rule   *tally.Rule
	Of     int // studies looked at
	Met    int
	NotMet int // without a reason
	Reason int // not met, with a reason recorded or a waiver
	Untold int // it cannot be told; in no share
}

// Asked counts the studies of which the rule asked and could be told.
func (c RuleCount) Asked() int { return c.Met + c.NotMet + c.Reason }

// ruleCounts counts every rule of the two kinds that applied to some study, by
// identifier.
func (r *builder) ruleCounts() []RuleCount {
	var out []RuleCount
	for _, d := range r.asked {
		out = append(out, RuleCount{Rule: d.rule, Of: r.report.Eligible, Met: d.Met, NotMet: d.Missing, Reason: d.Excepted, Untold: d.Open})
	}
	by := map[string]*RuleCount{}
	for res, n := range r.results(class.read) {
		if res.Rule.Kind != finding.Consistency {
			continue
		}
		c := by[res.Rule.Identifier]
		if c == nil {
			c = &RuleCount{Rule: res.Rule, Of: r.read}
			by[res.Rule.Identifier] = c
		}
		switch asTold(res.Outcome) {
		case Met:
			c.Met += n
		case NotMet:
			c.NotMet += n
		case Reasoned:
			c.Reason += n
		case CannotTell:
			c.Untold += n
		}
	}
	for _, c := range by {
		out = append(out, *c)
	}
	slices.SortFunc(out, func(a, b RuleCount) int { return strings.Compare(a.Rule.Identifier, b.Rule.Identifier) })
	return out
}

// class is what studies of the period have in common as far as their results are
// counted together.
type class struct{ unread, eligible, waived, images bool }

func (c class) read() bool { return !c.unread }

// countResults counts how often the rules came to what in the period, once for all
// tables that ask.
func (r *builder) countResults() {
	r.times = map[class]*tally.Times{}
	for _, s := range r.now {
		c := class{s.Unread, r.opt.ineligible(s) == "", len(s.Waivers) > 0, s.Images > 0}
		if c.eligible {
			r.eligible = append(r.eligible, s)
		}
		if !c.unread {
			r.read++
		}
		if r.times[c] == nil {
			r.times[c] = &tally.Times{}
		}
		r.times[c].Add(s.Results)
	}
}

// results are what rules came to in studies of some classes, and in how many of them.
func (r *builder) results(of func(class) bool) iter.Seq2[tally.Result, int] {
	return func(yield func(tally.Result, int) bool) {
		for c, times := range r.times {
			if !of(c) {
				continue
			}
			for res, n := range times.All() {
				if !yield(res, n) {
					return
				}
			}
		}
	}
}
