package example

import (
	"strings"
	"testing"

	"echotally/internal/answer"
	"echotally/internal/check"
	"echotally/internal/example/described"
	"echotally/internal/library"

	"echotally/internal/echo"
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
			s, err := described.Study(set, one, ex)
			if err != nil {
				t.Fatal(err)
			}
			judged++
			somebodyElse := s.Prior != nil
			s.Prior = nil
			if res, aside := check.New(answer.Read(set, s)).Put(one); res != nil || !strings.Contains(aside, "no earlier study") {
				t.Errorf("%s, %q without an earlier study: %+v %q", one.File.Identifier, ex.Title, res, aside)
			}
			if somebodyElse && one.File.Forbid == nil {
				s.Prior = &echo.Prior{StudyDate: "20250101", BirthDate: echo.Differs, Measurements: s.Measurements}
				if res, _ := check.New(answer.Read(set, s)).Put(one); res != nil {
					t.Errorf("%s, %q with the study of somebody else: %s", one.File.Identifier, ex.Title, res.Result.Outcome)
				}
			}
		}
	}
	if judged < 50 {
		t.Errorf("only %d examples were judged", judged)
	}
}
