package judge_test

import (
	"context"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"echotally/internal/demo"
	"echotally/internal/echo"
	"echotally/internal/judge"
	"echotally/internal/ruletest"
	"echotally/internal/run"
)

// large are the largest studies of a demo lab, about 170 measurements each: with
// all rules, causes and the reconciliation they take the longest.
func large(b *testing.B) []*echo.Study {
	dir := filepath.Join(b.TempDir(), "lab")
	if _, err := demo.Write(dir, demo.Options{Seed: 1}); err != nil {
		b.Fatal(err)
	}
	read, err := run.ReadStudies(context.Background(), []string{dir}, run.Options{Rules: ruletest.Load(b), Now: time.Now, Log: zerolog.Nop()})
	if err != nil {
		b.Fatal(err)
	}
	var out []*echo.Study
	for _, s := range read.Studies {
		if s.Study != nil && len(s.Study.Measurements) < 200 {
			out = append(out, s.Study)
		}
	}
	slices.SortStableFunc(out, func(a, b *echo.Study) int { return len(b.Measurements) - len(a.Measurements) })
	return out[:40]
}

// BenchmarkJudge judges large studies.
func BenchmarkJudge(b *testing.B) {
	lib, studies := ruletest.Load(b), large(b)
	n := 0
	for _, s := range studies {
		n += len(s.Measurements)
	}
	b.ReportMetric(float64(n)/float64(len(studies)), "measurements")
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		judge.Study(lib, studies[i%len(studies)], judge.By{})
	}
}
