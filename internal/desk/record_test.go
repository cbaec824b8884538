package desk

import (
	"context"
	"errors"
	"path/filepath"
	"strconv"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"

	"echotally/internal/store"
	"echotally/internal/store/keyfile"
)

// Two processes record the same studies at the same time: whoever is second
// loads again, nothing is there twice, and each study is compared with the one
// before it.
func TestTwoRecordTheSameAtOnce(t *testing.T) {
	const n = 5
	ctx, dir, in := context.Background(), t.TempDir(), visits(t, n)
	key, err := keyfile.Make(filepath.Join(dir, "key"))
	if err != nil {
		t.Fatal(err)
	}
	file, d := filepath.Join(dir, "lab.db"), newDesk(t)
	var (
		wait   sync.WaitGroup
		lock   sync.Mutex
		failed error
		anew   int
	)
	for range 2 {
		ledger, err := store.Open(ctx, file, store.Options{Key: key})
		if err != nil {
			t.Fatal(err)
		}
		defer ledger.Close()
		r := &Recorder{Desk: &Desk{Library: d.Library, SoftwareVersion: "test", Now: d.Now, Log: d.Log}, Ledger: ledger,
			Failed: func(uid, reason string) { t.Errorf("%s: %s", uid, reason) },
			Tell: func(receipt *store.Receipt) error {
				lock.Lock()
				defer lock.Unlock()
				if receipt.New {
					anew++
				}
				return nil
			}}
		wait.Go(func() {
			err := r.Paths(ctx, []string{in})
			lock.Lock()
			defer lock.Unlock()
			failed = errors.Join(failed, err)
		})
	}
	wait.Wait()
	if failed != nil || anew != n {
		t.Fatalf("%d studies were new, want %d; error %v", anew, n, failed)
	}
	ledger, err := store.Open(ctx, file, store.Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	defer ledger.Close()
	if proof, err := ledger.Verify(ctx, ""); err != nil || len(proof.Faults) > 0 {
		t.Errorf("%v %v", proof, err)
	}
	after := map[string]string{}
	for s, err := range ledger.Studies(ctx, store.Period{}, store.Filter{}, d.Library.Digest) {
		if err != nil {
			t.Fatal(err)
		}
		study, err := s.Rebuild()
		if err != nil || len(s.Rules) != len(d.Library.Rules) {
			t.Fatalf("%s: %d results, error %v", s.UID, len(s.Rules), err)
		}
		after[s.UID] = ""
		if study.Prior != nil {
			after[s.UID] = study.Prior.StudyDate
		}
	}
	want := map[string]string{"2.25.20": ""}
	for i := 1; i < n; i++ {
		want["2.25.2"+strconv.Itoa(i)] = strconv.Itoa(20260300 + i)
	}
	if diff := cmp.Diff(want, after); diff != "" {
		t.Error(diff)
	}
}
