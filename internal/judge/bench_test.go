package judge_test

import (
	"context"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"echotally/internal/demo"
	"echotally/internal/desk"
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
	var read studies
	if _, err := desk.Read(context.Background(), &desk.Desk{Library: ruletest.Load(b), Now: time.Now, Log: zerolog.Nop()}, []string{dir}, &read); err != nil {
		b.Fatal(err)
	}
	out := read.large
	slices.SortStableFunc(out, func(a, b *echo.Study) int { return len(b.Measurements) - len(a.Measurements) })
	return out[:40]
}

// studies keeps those that are as large as real ones get.
type studies struct{ large []*echo.Study }

func (*studies) Begin(*run.Run) error                   { return nil }
func (*studies) Leaf(s *run.Study) (*echo.Study, error) { return s.Study, nil }
func (*studies) End() error                             { return nil }

func (k *studies) Add(s *echo.Study) error {
	if s != nil && len(s.Measurements) < 200 {
		k.large = append(k.large, s)
	}
	return nil
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
