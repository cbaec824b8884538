package desk

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/rs/zerolog"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/finding"
	"echotally/internal/library"
	"echotally/internal/run"
	"echotally/internal/srtest"
	"echotally/rules"
)

func newDesk(t *testing.T) *Desk {
	t.Helper()
	lib, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	return &Desk{Library: lib, SoftwareVersion: "test", Now: func() time.Time { return time.Unix(0, 0) }, Log: zerolog.Nop()}
}

// visits writes studies of one person, a day after the other.
func visits(t *testing.T, n int) string {
	t.Helper()
	dir := t.TempDir()
	for i := range n {
		text := "header 00100020 = 7\nheader 00100030 = 19600101\nheader 00080020 = " + strconv.Itoa(20260301+i) +
			"\ncontainer DCM:125200\n  contains num LN:8302-2 = " + strconv.Itoa(180-12*(i%2)) + " cm\n"
		d := srtest.Report(t, text)
		d.Set(dcm.Strings(dcm.T(0x00080018), "2.25.1"+strconv.Itoa(i)), dcm.Strings(dcm.T(0x0020000D), "2.25.2"+strconv.Itoa(i)))
		// Names in another order than the dates.
		if err := os.WriteFile(filepath.Join(dir, strconv.Itoa(n-i)+".dcm"), dcmtest.Encode(d, dcmtest.Encoding{}), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// paper notes what it is handed.
type paper struct {
	begun  *run.Run
	leaf   func(*run.Study) (string, error)
	added  func()
	leaves []string
	ended  bool
}

func (p *paper) Begin(r *run.Run) error { p.begun = r; return nil }
func (p *paper) End() error             { p.ended = true; return nil }

func (p *paper) Leaf(s *run.Study) (string, error) {
	if p.leaf != nil {
		return p.leaf(s)
	}
	return told(s), nil
}

func (p *paper) Add(leaf string) error {
	p.leaves = append(p.leaves, leaf)
	if p.added != nil {
		p.added()
	}
	return nil
}

// told says what a study is compared with.
func told(s *run.Study) string {
	out := s.StudyInstanceUID
	if s.Failed != "" {
		return out + " failed"
	}
	if s.Study != nil && s.Study.Prior != nil {
		out += " after " + s.Study.Prior.StudyDate
	}
	for _, r := range s.Judgement.Results {
		if r.Rule == "patient/height-as-before" {
			out += " height " + string(r.Outcome)
		}
	}
	return out
}

// However many work, studies come by date, each compared with the one before.
func TestOrderDoesNotDependOnWorkers(t *testing.T) {
	d, dir := newDesk(t), visits(t, 6)
	want := []string{"2.25.20"}
	for i := 1; i < 6; i++ {
		want = append(want, "2.25.2"+strconv.Itoa(i)+" after "+strconv.Itoa(20260300+i)+" height fail")
	}
	for _, d.Workers = range []int{1, 5} {
		p := &paper{}
		tally, err := Check(context.Background(), d, []string{dir}, p)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, p.leaves); diff != "" {
			t.Errorf("%d workers: %s", d.Workers, diff)
		}
		if tally.Studies != 6 || tally.Incomplete() || tally.Worst == "" || !p.ended || p.begun.Studies != 6 || len(p.begun.Rules()) != len(d.Library.Rules) {
			t.Errorf("tally %+v, run %+v", tally, p.begun)
		}
	}
}

// A fault of the program in one study is told in its place, says nothing of the
// study, and costs no other one.
func TestOneFaultCostsOneStudy(t *testing.T) {
	d, dir := newDesk(t), visits(t, 4)
	p := &paper{leaf: func(s *run.Study) (string, error) {
		if s.StudyInstanceUID == "2.25.21" && s.Failed == "" {
			panic("MARKER " + s.Study.Identity.PatientID.Reveal())
		}
		if s.StudyInstanceUID == "2.25.22" && s.Failed == "" {
			return "", errors.New("cannot be laid out")
		}
		if strings.Contains(s.Failed, "MARKER") || s.Failed != "" && s.Failed != "cannot be laid out" && !strings.Contains(s.Failed, "desk_test.go:") {
			t.Errorf("the fault is told as %q", s.Failed)
		}
		return s.StudyInstanceUID + " " + strconv.FormatBool(s.Failed == ""), nil
	}}
	tally, err := Check(context.Background(), d, []string{dir}, p)
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"2.25.20 true", "2.25.21 false", "2.25.22 false", "2.25.23 true"}; !cmp.Equal(p.leaves, want) || tally.Failed != 2 || !tally.Incomplete() {
		t.Errorf("%v, tally %+v", p.leaves, tally)
	}
}

// The end of the context is heard between studies, and nothing more is written.
func TestCancelledRunEnds(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	d := newDesk(t)
	p := &paper{added: cancel}
	if _, err := Check(ctx, d, []string{visits(t, 6)}, p); !errors.Is(err, context.Canceled) || len(p.leaves) != 1 || p.ended {
		t.Errorf("%v after %d studies, ended %v", err, len(p.leaves), p.ended)
	}
}

func TestProgressCountsEveryObjectAndStudyOnce(t *testing.T) {
	d, seen := newDesk(t), map[string][]int{}
	d.Progress = func(doing string, done, total int) {
		if total != 3 {
			t.Errorf("%s: total %d, want 3", doing, total)
		}
		seen[doing] = append(seen[doing], done)
	}
	if _, err := Read(context.Background(), d, []string{visits(t, 3)}, &paper{leaf: func(*run.Study) (string, error) { return "", nil }}); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(map[string][]int{"looking through": {1, 2, 3}, "reading": {1, 2, 3}}, seen); diff != "" {
		t.Error(diff)
	}
}

// No more results than twice the workers wait to be taken, and a slow one holds
// up the order, not the bound.
func TestOrderedIsBounded(t *testing.T) {
	const workers, n = 3, 50
	var held, most atomic.Int64
	var got []int
	err := ordered(context.Background(), workers, n, func(i int) int {
		if now := held.Add(1); now > most.Load() {
			most.Store(now)
		}
		return i
	}, func(i int) error {
		time.Sleep(time.Millisecond)
		held.Add(-1)
		got = append(got, i)
		return nil
	})
	if err != nil || len(got) != n || !cmp.Equal(got[:3], []int{0, 1, 2}) || most.Load() > 2*workers+1 {
		t.Errorf("%v, %d results, %d held at most", err, len(got), most.Load())
	}
	stop := errors.New("no more")
	if err := ordered(context.Background(), workers, n, func(i int) int { return i }, func(int) error { return stop }); !errors.Is(err, stop) {
		t.Errorf("ended with %v", err)
	}
}

func TestSeverityOfTheRunIsTheGravest(t *testing.T) {
	d := newDesk(t)
	tally, err := Check(context.Background(), d, []string{visits(t, 2)}, &paper{})
	if err != nil || tally.Worst.Rank() < finding.Information.Rank() {
		t.Errorf("%v %q", err, tally.Worst)
	}
}
