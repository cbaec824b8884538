// Package outcome owns how it is written down what every rule of a rule set came to:
// two letters per rule, in their order, so that figures over thousands of studies read
// little.
package outcome

import (
	"fmt"

	"echotally/internal/finding"
	"echotally/internal/judgement"
)

// outcomeLetters and severityLetters are how outcomes are written down: two
// letters per rule, a hyphen for no severity.
var (
	outcomeLetters = map[finding.Outcome]byte{
		finding.Pass: 'p', finding.Fail: 'f', finding.Open: 'o', finding.NotApplicable: 'n', finding.Review: 'r', finding.Excused: 'x',
	}
	severityLetters       = map[finding.Severity]byte{finding.Error: 'e', finding.Warning: 'w', finding.Information: 'i', "": '-'}
	outcomeOf, severityOf = inverse(outcomeLetters), inverse(severityLetters)
)

func inverse[T comparable](letters map[T]byte) (out [256]T) {
	for word, letter := range letters {
		out[letter] = word
	}
	return out
}

// Written writes down what so many rules came to, in their order; place gives that of a
// rule, from 0.
func Written(j *judgement.Judgement, rules int, place func(rule string) (int, bool)) (string, error) {
	letters := make([]byte, 2*rules)
	n := 0
	set := func(rule string, outcome finding.Outcome, severity finding.Severity) {
		if i, ok := place(rule); ok && letters[2*i] == 0 {
			letters[2*i], letters[2*i+1] = outcomeLetters[outcome], severityLetters[severity]
			n++
		}
	}
	for _, res := range j.Results {
		set(res.Rule, res.Outcome, res.Severity)
	}
	for _, aside := range j.NotApplicable {
		set(aside.Rule, finding.NotApplicable, "")
	}
	if n != rules || len(j.Results)+len(j.NotApplicable) != n {
		return "", fmt.Errorf("rule set %.12s has %d rules, its judgement %d results that apply and %d that do not",
			j.Library.Digest, rules, len(j.Results), len(j.NotApplicable))
	}
	return string(letters), nil
}

// At gives what the rule at a place of the rule set came to.
func At(written string, place int) (finding.Outcome, finding.Severity) {
	return outcomeOf[written[2*place]], severityOf[written[2*place+1]]
}

// Fits reports whether outcomes were written of so many rules.
func Fits(written string, rules int) bool { return len(written) == 2*rules }
