package example

import (
	"strings"
	"testing"

	"echotally/internal/answer"
	"echotally/internal/check"
	"echotally/internal/library"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/rules"
)

// TestNoRulePassesWithoutTheEarlierStudy takes every example of the rules that
// compare with an earlier study, and takes that study away or makes it somebody
// else's.
func TestNoRulePassesWithoutTheEarlierStudy(t *testing.T) {
	set, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	judged := 0
	for _, one := range set.Rules {
		if !one.AboutPrior {
			continue
		}
		for _, ex := range one.File.Examples {
			s, err := Study(set, one, ex)
			if err != nil {
				t.Fatal(err)
			}
			judged++
			somebodyElse := s.Prior != nil
			s.Prior = nil
			if res := check.New(answer.Read(set, s)).Put(one).Result; res.Outcome != finding.NotApplicable || !strings.Contains(res.Message, "no earlier study") {
				t.Errorf("%s, %q without an earlier study: %s %q", one.File.Identifier, ex.Title, res.Outcome, res.Message)
			}
			if somebodyElse && one.File.Forbid == nil {
				s.Prior = &echo.Prior{StudyDate: "20250101", BirthDate: echo.Differs, Measurements: s.Measurements}
				if res := check.New(answer.Read(set, s)).Put(one).Result; res.Outcome != finding.NotApplicable {
					t.Errorf("%s, %q with the study of somebody else: %s", one.File.Identifier, ex.Title, res.Outcome)
				}
			}
		}
	}
	if judged < 50 {
		t.Errorf("only %d examples were judged", judged)
	}
}
