package desk

import (
	"context"
	"fmt"
	"path/filepath"
	"testing"

	"echotally/internal/library"
	"echotally/internal/library/draft"
	"echotally/internal/store"
	"echotally/internal/store/keyfile"
	"echotally/rules"
)

// stopped is a ledger that has somebody stop the work after a number of commits.
type stopped struct {
	*store.Store
	after int
	stop  func()
}

func (s *stopped) CommitTogether(ctx context.Context, states []*store.State, why map[string]string) ([]*store.Receipt, []error) {
	if s.after--; s.after == 0 {
		s.stop()
	}
	return s.Store.CommitTogether(ctx, states, why)
}

// TestRecordedStudiesAreJudgedAnew: under other rules nothing recorded changes by itself.
// Judged anew, stopped in between and begun again, each study has one more judgement, and
// those of before stand as they were written.
func TestRecordedStudiesAreJudgedAnew(t *testing.T) {
	const n = together + 5 // of one month
	ctx, dir := context.Background(), t.TempDir()
	key, err := keyfile.Make(filepath.Join(dir, "key"))
	if err != nil {
		t.Fatal(err)
	}
	ledger, err := store.Open(ctx, filepath.Join(dir, "lab.db"), store.Options{Key: key})
	if err != nil {
		t.Fatal(err)
	}
	defer ledger.Close()
	inForce := NewInForce(newDesk(t))
	before := inForce.Desk().Library
	compared := 0
	record := &Recorder{Desk: inForce.Desk(), InForce: inForce, Ledger: ledger, Tell: func(*store.Receipt) error { return nil },
		Failed: func(uid, reason string) { t.Errorf("%s: %s", uid, reason) }, Compared: func(*store.Receipt) error { compared++; return nil }}
	in := visits(t, n)
	for _, path := range []string{filepath.Join(in, "1.dcm"), in} { // the last day comes first
		if err := record.Paths(ctx, []string{path}); err != nil {
			t.Fatal(err)
		}
	}
	if compared == 0 {
		t.Error("nobody was told of a study that was compared anew")
	}
	left := func(of *library.Library) int {
		uids, err := ledger.Unjudged(ctx, of.Digest)
		if err != nil {
			t.Fatal(err)
		}
		return len(uids)
	}
	whole := func(of *library.Library) string {
		out := ""
		for s, err := range ledger.Studies(ctx, store.Period{}, store.Filter{}, of.Digest) {
			if err != nil {
				t.Fatal(err)
			}
			out += fmt.Sprintln(s.UID, s.Judged, s.Outcomes)
		}
		return out
	}
	file := before.Rules[0].File
	layer, err := draft.Draft{Name: file.Identifier + ".yaml", Text: fmt.Sprintf("identifier: %s\nderivedFrom: %q\napprovalDate: \"2026-01-01\"\nreviewer: quality-manager\nstatus: retired\n", file.Identifier, file.Identifier+"@"+file.Version)}.Layer()
	if err != nil {
		t.Fatal(err)
	}
	after, err := library.Load(library.Settings{NoExamples: true}, rules.FS, layer)
	if err != nil {
		t.Fatal(err)
	}
	was := whole(before)
	if inForce.Renew(after); left(before) != 0 || left(after) != n {
		t.Fatalf("of %d studies, %d are not judged by the first rules and %d not by the others", n, left(before), left(after))
	}
	slow := &stopped{Store: ledger, after: 1}
	anew := &Anew{InForce: inForce, Ledger: slow}
	slow.stop = func() { anew.lock.Lock(); anew.stop(); anew.lock.Unlock() }
	if !anew.Begin(ctx) {
		t.Fatal("not begun")
	}
	<-anew.ended
	if s := anew.State(); s.Running || s.Done != together || s.Of != n || s.Fault != "" || left(after) != n-together {
		t.Fatalf("stopped after the first studies: %+v, %d left", s, left(after))
	}
	again := &Anew{InForce: inForce, Ledger: ledger} // as after a new start
	again.Begin(ctx)
	<-again.ended
	if s := again.State(); s.Done != n-together || s.Failed != 0 || s.Fault != "" || left(after) != 0 {
		t.Fatalf("begun again: %+v, %d left", s, left(after))
	}
	if whole(before) != was {
		t.Error("what was judged before is not as it was")
	}
	stats, err := ledger.Statistics(ctx)
	if err != nil || stats.Judgements < 2*n {
		t.Errorf("%d judgements of %d studies, %v", stats.Judgements, n, err)
	}
	if proof, err := ledger.Verify(ctx, ""); err != nil || len(proof.Faults) > 0 {
		t.Errorf("%v %v", proof, err)
	}
}
