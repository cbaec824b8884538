package judge_test

import (
	"slices"
	"strings"
	"testing"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/judge"
	"echotally/internal/rule"
	"echotally/internal/ruletest"
)

// TestDecisiveValuesDecide takes from studies of the demo lab, rule by rule, all
// values but those that decide what becomes of the rule: it comes to the same.
func TestDecisiveValuesDecide(t *testing.T) {
	lib := ruletest.Load(t)
	studies := slices.DeleteFunc(demoLab(t, lib), func(s *echo.Study) bool {
		return slices.ContainsFunc(s.Measurements, func(m echo.Measurement) bool { return m.Measurand == "" && m.Role == echo.Result })
	})
	known := make([]finding.Protocols, len(studies))
	for i, s := range studies {
		known[i], _ = judge.Over(lib, nil).Verdicts(s, nil)
	}
	decisive, taken, failed := 0, 0, 0
	var room []echo.Measurement
	for _, one := range lib.Rules {
		decide, ok := one.Decisive()
		if !ok {
			continue
		}
		decisive++
		again := judge.Over(lib, []*rule.Rule{one})
		for i := decisive % 3; i < len(studies); i += 3 {
			s := studies[i]
			some := *s
			room = room[:0]
			for k := range s.Measurements {
				if m := &s.Measurements[k]; m.Measurand == "" || slices.Contains(decide, m.Measurand) {
					room = append(room, *m)
				}
			}
			some.Measurements = room
			taken += len(s.Measurements) - len(some.Measurements)
			_, whole := again.Verdicts(s, &known[i])
			_, part := again.Verdicts(&some, &known[i])
			if !slices.Equal(whole, part) {
				t.Errorf("%s of %s: %v with all values, %v with those that decide", one.File.Identifier, s.StudyInstanceUID, whole, part)
			}
			if len(whole) > 0 && whole[0].Outcome == finding.Fail {
				failed++
			}
		}
	}
	for _, one := range lib.Rules {
		if _, few := one.Decisive(); few && strings.Contains(one.File.Require+one.File.AppliesTo.When, "z_score") {
			t.Errorf("%s asks of any z-score of the record and is said to be decided by a few values", one.File.Identifier)
		}
	}
	if decisive < len(lib.Rules)/2 || taken == 0 || failed == 0 || len(studies) < 20 {
		t.Errorf("%d of %d rules are decided by a few values, %d values were taken, %d failures, %d studies: the test shows little", decisive, len(lib.Rules), taken, failed, len(studies))
	}
	t.Logf("%d of %d rules, %d studies, %d failures", decisive, len(lib.Rules), len(studies), failed)
}
