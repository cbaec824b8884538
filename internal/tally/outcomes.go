// Package tally owns what the rules came to for one study, as figures count it:
// an outcome for each rule of a set, the waivers beside them, and how a demand so
// stands in the strict figure and in the one with exceptions.
package tally

import (
	"iter"
	"slices"
	"unique"

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
	said       = meanings()
)

// meaning is what a code says.
type meaning struct {
	outcome  finding.Outcome
	severity finding.Severity
	grave    bool
}

func meanings() (out []meaning) {
	for _, outcome := range outcomes {
		for _, severity := range severities {
			out = append(out, meaning{outcome, severity, Result{Severity: severity}.Grave()})
		}
	}
	return out
}

// Code is what a rule came to, as a byte; 0 where it does not apply.
func Code(outcome finding.Outcome, severity finding.Severity) byte {
	if outcome == finding.NotApplicable {
		return 0
	}
	return byte(slices.Index(outcomes, outcome)*len(severities) + slices.Index(severities, severity))
}

// NewOutcomes are those of a study that no rule of the set has been put to.
func NewOutcomes(rules []*Rule) *Outcomes {
	return &Outcomes{rules: rules, codes: make([]byte, len(rules))}
}

// OutcomesOf are the outcomes of some results.
func OutcomesOf(results ...Result) *Outcomes {
	o := NewOutcomes(make([]*Rule, len(results)))
	for i, r := range results {
		o.rules[i] = r.Rule
		o.Set(i, r.Outcome, r.Severity, r.Cause)
	}
	return o
}

// Set says what the rule at a place of the set came to; because is the identifier of
// the likeliest slip behind a failure, "" when none was found.
func (o *Outcomes) Set(place int, outcome finding.Outcome, severity finding.Severity, because string) {
	o.SetCode(place, Code(outcome, severity))
	o.Because(place, because)
}

// SetCode is Set of a code, without a slip.
func (o *Outcomes) SetCode(place int, code byte) { o.codes[place] = code }

// Applies reports whether the rule at a place of the set applies.
func (o *Outcomes) Applies(place int) bool { return o.codes[place] != 0 }

// Because says which slip is the likeliest behind the failure of the rule at a place, ""
// when none was found.
func (o *Outcomes) Because(place int, slip string) {
	if slip != "" {
		o.causes = append(o.causes, cause{place, unique.Make(slip).Value()})
	}
}

// Regrade makes what the rule at a place came to as grave as it now is, where it was as
// grave as it was before.
func (o *Outcomes) Regrade(place int, was, is finding.Severity) {
	if code := o.codes[place]; code != 0 && said[code].severity == was {
		o.codes[place] = Code(said[code].outcome, is)
	}
}

// All gives the results of the rules that apply, in the order of the rule set.
func (o *Outcomes) All() iter.Seq[Result] { return o.with(^uint32(1)) }

// Of gives those of the results with one of some outcomes.
func (o *Outcomes) Of(wanted ...finding.Outcome) iter.Seq[Result] {
	codes := uint32(0)
	for i := range said {
		if i > 0 && slices.Contains(wanted, said[i].outcome) {
			codes |= 1 << i
		}
	}
	return o.with(codes)
}

// Calling gives those of the results that need somebody to act: failed, or to be looked
// at by a person.
func (o *Outcomes) Calling() iter.Seq[Result] { return o.Of(finding.Fail, finding.Review) }

// with gives the results whose codes are among some, which are the bits of a number.
func (o *Outcomes) with(codes uint32) iter.Seq[Result] {
	return func(yield func(Result) bool) {
		if o == nil {
			return
		}
		for i, code := range o.codes {
			if codes>>(code%MaxCodes)&1 != 0 && !yield(o.at(i, &said[code])) {
				return
			}
		}
	}
}

func (o *Outcomes) at(place int, is *meaning) Result {
	r := Result{Rule: o.rules[place], Outcome: is.outcome, Severity: is.severity}
	if r.Outcome == finding.Fail {
		r.Cause = o.cause(place)
	}
	return r
}

// Carry takes over to another set of rules what the same rules came to; from is the
// place in this set of each rule of the other one, negative where there is none.
func (o *Outcomes) Carry(rules []*Rule, from []int) *Outcomes {
	out := NewOutcomes(rules)
	for place, was := range from {
		if was >= 0 {
			out.codes[place] = o.codes[was]
		}
	}
	for _, c := range o.causes {
		if place := slices.Index(from, c.place); place >= 0 {
			out.causes = append(out.causes, cause{place, c.identifier})
		}
	}
	return out
}

func (o *Outcomes) cause(place int) string {
	for _, c := range o.causes {
		if c.place == place {
			return c.identifier
		}
	}
	return ""
}

// Rule is what the audit needs of a rule.
type Rule struct {
	Identifier, Title, Structure string
	Kind                         finding.Kind
	Severity                     finding.Severity
	Conditional                  bool // asked only of studies in which something else was found
	Measurands                   []string
	PerLab                       bool // a matter of how the lab reports
	OpenPerLab                   bool // that it cannot be told is one
}

// Note reports whether it is a completeness rule that no headline measure counts.
func (r *Rule) Note() bool {
	return r.Kind == finding.Completeness && r.Severity.Rank() < finding.Warning.Rank()
}

// Result is the outcome of one rule on the study.
type Result struct {
	Rule     *Rule
	Outcome  finding.Outcome
	Severity finding.Severity
	Cause    string // identifier of the likeliest slip, "" when none was found
}

// Failing reports whether a rule says that something has to be done.
func (r Result) Failing() bool { return r.Outcome == finding.Fail }

// Grave reports whether the finding is grave enough to count.
func (r Result) Grave() bool { return r.Severity.Rank() >= finding.Warning.Rank() }
