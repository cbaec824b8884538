package audit

import (
	"iter"
	"slices"

	"echotally/internal/finding"
)

// Outcomes are the results of one study, a byte for each rule of a rule set: ten
// thousand studies judged by hundreds of rules are millions of results.
type Outcomes struct {
	rules  []*Rule // those of the reducer, shared
	codes  []byte  // by place; 0 where the rule does not apply
	causes []cause
}

// cause is the likeliest slip behind the failure of the rule at a place.
type cause struct {
	place      int
	identifier string
}

var (
	outcomes   = []finding.Outcome{finding.NotApplicable, finding.Pass, finding.Fail, finding.Open, finding.Review, finding.Excused}
	severities = []finding.Severity{"", finding.Information, finding.Warning, finding.Error}
)

// OutcomesOf are the outcomes of some results.
func OutcomesOf(results ...Result) *Outcomes {
	o := &Outcomes{rules: make([]*Rule, len(results)), codes: make([]byte, len(results))}
	for i, r := range results {
		o.rules[i] = r.Rule
		o.set(i, r.Outcome, r.Severity, r.Cause)
	}
	return o
}

func (o *Outcomes) set(place int, outcome finding.Outcome, severity finding.Severity, because string) {
	o.codes[place] = byte(slices.Index(outcomes, outcome)*len(severities) + slices.Index(severities, severity))
	if outcome == finding.NotApplicable {
		o.codes[place] = 0
	}
	if because != "" {
		o.causes = append(o.causes, cause{place, own(because)})
	}
}

// All gives the results of the rules that apply, in the order of the rule set.
func (o *Outcomes) All() iter.Seq[Result] {
	return func(yield func(Result) bool) {
		if o == nil {
			return
		}
		for i, code := range o.codes {
			if code == 0 {
				continue
			}
			r := Result{Rule: o.rules[i], Outcome: outcomes[int(code)/len(severities)], Severity: severities[int(code)%len(severities)]}
			if r.Outcome == finding.Fail {
				r.Cause = o.cause(i)
			}
			if !yield(r) {
				return
			}
		}
	}
}

func (o *Outcomes) cause(place int) string {
	for _, c := range o.causes {
		if c.place == place {
			return c.identifier
		}
	}
	return ""
}
