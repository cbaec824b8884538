// Package example owns the examples in rule files: what the rule makes of each. The
// study that one describes is made by package described.
package example

import (
	"fmt"
	"strings"

	"echotally/internal/answer"
	"echotally/internal/check"
	"echotally/internal/example/described"
	"echotally/internal/finding"
	"echotally/internal/library"
	"echotally/internal/rule"
)

// Result is what became of one example of a rule.
type Result struct {
	Title  string
	Result finding.Result
	Fault  string // why it is not as the example says, "" when it is
}

// Run puts a rule to each of its own examples. Slips behind what fails are not looked
// for: no example says which it is.
func Run(set *library.Library, one *rule.Rule) []Result {
	one.Complete()
	all := one.File.AllExamples()
	out := make([]Result, 0, len(all))
	for _, ex := range all {
		out = append(out, run(set, one, ex))
	}
	return out
}

func run(set *library.Library, one *rule.Rule, ex rule.Example) Result {
	out := Result{Title: ex.Title}
	c, err := read(set, one, ex)
	if err != nil {
		out.Fault = err.Error()
		return out
	}
	if checked, aside := c.Put(one); checked == nil {
		out.Result = finding.Result{Rule: one.File.Identifier, Severity: one.Severity, Outcome: finding.NotApplicable, Message: aside}
	} else {
		out.Result = checked.Result
	}
	switch got := out.Result; {
	case string(got.Outcome) != ex.Outcome:
		out.Fault = fmt.Sprintf("outcome %s, the example says %s; message: %s", got.Outcome, ex.Outcome, got.Message)
	case ex.Severity != "" && string(got.Severity) != ex.Severity:
		out.Fault = fmt.Sprintf("severity %s, the example says %s", got.Severity.Word(), finding.Severity(ex.Severity).Word())
	case ex.Message != "" && !strings.Contains(got.Message, ex.Message):
		out.Fault = fmt.Sprintf("message %q does not contain %q", got.Message, ex.Message)
	}
	return out
}

// Outcome puts a rule to an example, its own or not, and gives outcome
// and severity without a word of why, for asking very many.
func Outcome(set *library.Library, one *rule.Rule, ex rule.Example) (finding.Outcome, finding.Severity, error) {
	one.Complete()
	c, err := read(set, one, ex)
	if err != nil {
		return "", "", err
	}
	v := c.Verdict(one)
	return v.Outcome, v.Severity, nil
}

func read(set *library.Library, one *rule.Rule, ex rule.Example) (*check.Checker, error) {
	s, err := described.Study(set, one, ex)
	if err != nil {
		return nil, err
	}
	chosen := *set
	switch {
	case ex.Edition != "":
		chosen.Edition = string(ex.Edition)
	case len(one.File.AppliesTo.Edition) > 0:
		chosen.Edition = one.File.AppliesTo.Edition[0]
	}
	protocols := ex.Protocol
	if len(protocols) == 0 {
		protocols = one.File.AppliesTo.Protocol
	}
	return check.New(answer.Read(&chosen, s), protocols...), nil
}
