package example_test

import (
	"testing"

	"echotally/internal/answer"
	"echotally/internal/check"
	"echotally/internal/echo"
	"echotally/internal/example/described"
	"echotally/internal/finding"
	"echotally/internal/rule"
	"echotally/internal/ruletest"
)

// A rule of which it is said that it comes to the same whatever its severity does so for
// each of its examples, with sentences in the report and without; some of those of which
// it is not said do not.
func TestSeverityChangesNoOutcome(t *testing.T) {
	set := ruletest.Load(t)
	severities := []finding.Severity{finding.Information, finding.Warning, finding.Error}
	alike, needed := 0, map[string]int{}
	for _, one := range set.Rules {
		if one.File.Status == "retired" {
			continue
		}
		one.Complete()
		versions := make([]rule.Rule, len(severities))
		for i, severity := range severities {
			versions[i] = *one
			versions[i].Severity = severity
		}
		for _, ex := range one.File.AllExamples() {
			study, err := described.Study(set, one, ex)
			if err != nil {
				t.Fatal(err)
			}
			wordless := *study
			wordless.Documents = []echo.Document{{SOPInstanceUID: "2.25.1", Wordless: true}}
			for _, s := range []*echo.Study{study, &wordless} {
				c := check.New(answer.Read(set, s), one.File.AppliesTo.Protocol...)
				for i := range versions {
					was := c.Verdict(&versions[i])
					for k := range versions {
						is, likeness := c.Verdict(&versions[k]), versions[k].Alike(&versions[i])
						same := is.Outcome == was.Outcome && is.Severity == regraded(was, severities[i], severities[k])
						switch {
						case i == k:
						case likeness == rule.AlikeInOutcome && same:
							alike++
						case likeness == rule.AlikeInOutcome:
							t.Errorf("%s, %s, as %s: %s %s, as %s: %s %s", one.File.Identifier, ex.Title, severities[i], was.Outcome, was.Severity, severities[k], is.Outcome, is.Severity)
						case !same && len(one.File.SeverityIf) > 0:
							needed["severityIf"]++
						case !same:
							needed[string(one.Kind)]++
						}
					}
				}
			}
		}
	}
	if alike < 15_000 || needed["severityIf"] == 0 || needed[string(finding.Completeness)] == 0 {
		t.Errorf("%d outcomes are alike, these are not where it is not said: %v; the test shows little", alike, needed)
	}
	t.Log(alike, needed)
}

// regraded is how grave a verdict is when the rule is as grave as it says.
func regraded(v check.Verdict, was, is finding.Severity) finding.Severity {
	if v.Outcome != finding.NotApplicable && v.Severity == was {
		return is
	}
	return v.Severity
}
