package check

import (
	"echotally/internal/answer"
	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/rule"
)

// instances are the answers a rule is put to one by one: a range is demanded of
// every recorded value, not only of the one that counts; what compares beats is
// asked of each series of them; all else is asked of the study once.
func (c *Checker) instances(a *answer.Answers) []*answer.Answers {
	a.Rule.Complete()
	if name, _, _, is := a.Rule.Bounds(); is && a.Repeated(name) {
		return a.EachValue(name)
	}
	if a.Rule.Each != rule.EachSeries {
		c.one[0] = a
		return c.one[:]
	}
	var out []*answer.Answers
	for _, one := range a.EachSeries() {
		if applies(one) == expr.True {
			out = append(out, one)
		}
	}
	return out
}

// rank orders outcomes by how much they ask of somebody.
var rank = map[finding.Outcome]int{finding.Fail: 5, finding.Review: 4, finding.Open: 3, finding.Excused: 2, finding.Pass: 1}

// graver reports whether the first result asks for more than the second.
func graver(outcome finding.Outcome, severity finding.Severity, than finding.Outcome, thanSeverity finding.Severity) bool {
	if outcome != than {
		return rank[outcome] > rank[than]
	}
	return severity.Rank() > thanSeverity.Rank()
}
