package audit_test

import (
	"testing"

	"echotally/internal/demo/labyear"
	"echotally/internal/echo"
	"echotally/internal/rejudge"
)

// BenchmarkJudge puts the rules to a study again, as what-if does.
func BenchmarkJudge(b *testing.B) {
	set := ruleSet(b)
	var studies []*echo.Study
	if err := labyear.Studies(labyear.Options{Seed: 1, PerMonth: 2}, func(s labyear.Study) error {
		study, err := compose(set, s, true)
		studies = append(studies, study)
		return err
	}); err != nil {
		b.Fatal(err)
	}
	judge := rejudge.New(set, set)
	b.ResetTimer()
	i := 0
	for b.Loop() {
		study := studies[i%len(studies)]
		i++
		protocols, results := judge.Before(study)
		judge.Was.Reduce(study, protocols, results, nil)
	}
}
