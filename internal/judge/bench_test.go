package judge_test

import (
	"context"
	"path/filepath"
	"runtime/debug"
	"slices"
	"syscall"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"echotally/internal/demo"
	"echotally/internal/demo/casebook"
	"echotally/internal/desk"
	"echotally/internal/echo"
	"echotally/internal/judge"
	"echotally/internal/library"
	"echotally/internal/ruletest"
	"echotally/internal/run"
)

// large are the largest studies of a demo lab, about 150 measurements each, most of
// them with faults: with all rules, causes
// and the reconciliation they take the longest.
func large(b *testing.B, lib *library.Library) []*echo.Study {
	out := demoLab(b, lib)
	slices.SortStableFunc(out, func(a, b *echo.Study) int { return len(b.Measurements) - len(a.Measurements) })
	return out[:40]
}

// demoLab are the studies of a demo lab that are as large as real ones get.
func demoLab(tb testing.TB, lib *library.Library) []*echo.Study {
	dir := filepath.Join(tb.TempDir(), "lab")
	if _, err := demo.Write(dir, casebook.Options{Seed: 1}); err != nil {
		tb.Fatal(err)
	}
	var read studies
	if _, err := desk.Read(context.Background(), &desk.Desk{Library: lib, Now: time.Now, Log: zerolog.Nop()}, []string{dir}, &read); err != nil {
		tb.Fatal(err)
	}
	return read.large
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

// spent is the processor time this process has used.
func spent() time.Duration {
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		return 0
	}
	return time.Duration(used.Utime.Nano() + used.Stime.Nano())
}

// BenchmarkJudge judges large studies; cpu-ms is what one takes of a processor,
// the collecting of garbage included.
func BenchmarkJudge(b *testing.B) {
	lib := ruletest.Load(b)
	defer debug.SetGCPercent(debug.SetGCPercent(400)) // as the commands do
	studies := large(b, lib)
	n := 0
	for _, s := range studies {
		n += len(s.Measurements)
	}
	j := judge.New(lib)
	for _, s := range studies {
		j.Study(s, judge.By{}) // compiles what is compiled when first asked for
	}
	b.ReportAllocs()
	begun, judged := spent(), 0
	for b.Loop() {
		j.Study(studies[judged%len(studies)], judge.By{})
		judged++
	}
	b.ReportMetric(float64(spent()-begun)/float64(time.Millisecond)/float64(judged), "cpu-ms/op")
	b.ReportMetric(float64(n)/float64(len(studies)), "measurements")
}

// BenchmarkAgain puts all rules to every study of a demo lab without a word of why, as
// an audit does that compares two rule sets.
func BenchmarkAgain(b *testing.B) {
	lib := ruletest.Load(b)
	defer debug.SetGCPercent(debug.SetGCPercent(400)) // as the commands do
	studies := demoLab(b, lib)
	a := judge.Over(lib, lib.Rules)
	for _, s := range studies {
		a.Verdicts(s, nil) // compiles what is compiled when first asked for
	}
	b.ReportAllocs()
	begun, judged := spent(), 0
	for b.Loop() {
		a.Verdicts(studies[judged%len(studies)], nil)
		judged++
	}
	b.ReportMetric(float64(spent()-begun)/float64(time.Millisecond)/float64(judged), "cpu-ms/op")
}
