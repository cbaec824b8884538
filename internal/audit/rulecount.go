package audit

import (
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
	by, read := map[string]*RuleCount{}, 0
	for _, s := range r.now {
		if s.Unread {
			continue
		}
		read++
		for res := range s.Results.All() {
			if res.Rule.Kind != finding.Consistency {
				continue
			}
			c := by[res.Rule.Identifier]
			if c == nil {
				c = &RuleCount{Rule: res.Rule}
				by[res.Rule.Identifier] = c
			}
			switch r.opt.result(s, res) {
			case Met:
				c.Met++
			case NotMet:
				c.NotMet++
			case Reasoned:
				c.Reason++
			case CannotTell:
				c.Untold++
			}
		}
	}
	for _, c := range by {
		c.Of = read
		out = append(out, *c)
	}
	slices.SortFunc(out, func(a, b RuleCount) int { return strings.Compare(a.Rule.Identifier, b.Rule.Identifier) })
	return out
}
