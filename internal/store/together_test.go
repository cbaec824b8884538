package store

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
)

// TestWhatWaitsIsWrittenTogether commits many studies at a time: all that is
// acknowledged is there, and fewer seals than commits were brought to the disk.
func TestWhatWaitsIsWrittenTogether(t *testing.T) {
	const studies = 60
	b := &bench{T: t, dir: t.TempDir()}
	b.store = b.open()
	before := b.count("seal")
	states := make([]*State, studies)
	for n := range states {
		states[n] = b.loaded(n)
	}
	// While one has the turn, all the others come to wait.
	b.store.turn.Lock()
	var wait sync.WaitGroup
	for n := range states {
		wait.Go(func() {
			if r, err := b.store.Commit(context.Background(), states[n], nil); err != nil || !r.New || !r.Judged {
				t.Errorf("study %d: %+v, %v", n, r, err)
			}
		})
	}
	gone, cancel := context.WithCancel(context.Background())
	cancel()
	impossible := errors.New("impossible")
	for range 3 {
		wait.Go(func() {
			err := b.store.write(context.Background(), "fail", func(t *tx) error {
				return errors.Join(t.run(sqlAddStudy, "1.2.3"), impossible)
			})
			if !errors.Is(err, impossible) {
				t.Errorf("work that fails: %v", err)
			}
			if err := b.store.write(gone, "nothing", func(*tx) error { return nil }); !errors.Is(err, context.Canceled) {
				t.Errorf("work that is given up: %v", err)
			}
		})
	}
	for waiting := 0; waiting < studies; {
		b.store.lock.Lock()
		waiting = len(b.store.waiting)
		b.store.lock.Unlock()
	}
	b.store.turn.Unlock()
	wait.Wait()
	if n := b.count("study"); n != studies {
		t.Errorf("%d studies of %d, or what failed left something behind", n, studies)
	}
	if seals := b.count("seal") - before; seals > studies/4 {
		t.Errorf("%d studies were brought to the disk %d times", studies, seals)
	}
	b.holds()
}

// loaded is an invented study ready to be committed.
func (b *bench) loaded(n int) *State {
	b.Helper()
	by := plainAuditor()
	st, err := b.store.Load(context.Background(), fmt.Sprintf("2.25.9.%d", n), "test", found(invented(n)))
	if err == nil {
		err = b.store.compose(context.Background(), st, by)
	}
	if err != nil {
		b.Fatal(err)
	}
	return st
}

// TestAStateThatIsPastIsNotCommitted changes what was loaded in every way that
// matters to it.
func TestAStateThatIsPastIsNotCommitted(t *testing.T) {
	ctx := context.Background()
	for name, change := range map[string]func(b *bench){
		"the same study was recorded": func(b *bench) { b.commit(b.loaded(1)) },
		"a waiver was given":          func(b *bench) { b.commit(b.loaded(1)); b.waive("2.25.9.1") },
		"it was purged": func(b *bench) {
			b.commit(b.loaded(1))
			if _, err := b.store.Purge(ctx, moment.AddDate(1, 0, 0)); err != nil {
				b.Fatal(err)
			}
		},
		"another study of the person came": func(b *bench) {
			other := invented(2)
			for _, r := range other.Reports {
				r.Identity = invented(1).Reports["in.dcm"].Identity
			}
			if _, err := b.store.Record(ctx, other, plainAuditor()); err != nil {
				b.Fatal(err)
			}
		},
		"the object came with another study": func(b *bench) {
			other := invented(2)
			other.Objects[0].SHA256 = invented(1).Objects[0].SHA256
			if _, err := b.store.Record(ctx, other, plainAuditor()); err != nil {
				b.Fatal(err)
			}
		},
		"its SOP Instance UID came with another study": func(b *bench) {
			other := invented(2)
			other.Objects[0].SOPInstanceUID = invented(1).Objects[0].SOPInstanceUID
			if _, err := b.store.Record(ctx, other, plainAuditor()); err != nil {
				b.Fatal(err)
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			b := &bench{T: t, dir: t.TempDir()}
			b.store = b.open()
			st := b.loaded(1)
			change(b)
			before := b.holds().Head
			if _, err := b.store.Commit(ctx, st, nil); !errors.Is(err, ErrChanged) {
				t.Errorf("committed: %v", err)
			}
			if now := b.holds().Head; now != before {
				t.Error("something was written")
			}
		})
	}
}

func (b *bench) commit(st *State) {
	b.Helper()
	if _, err := b.store.Commit(context.Background(), st, nil); err != nil {
		b.Fatal(err)
	}
}

// TestTwoWritersOfOneLedger has two openings of one file record the same studies
// at a time, as two processes would.
func TestTwoWritersOfOneLedger(t *testing.T) {
	const studies = 30
	b := &bench{T: t, dir: t.TempDir()}
	b.store = b.open()
	both := []*Store{b.store, b.open()}
	var (
		wait sync.WaitGroup
		lock sync.Mutex
		made int
	)
	for _, s := range both {
		wait.Go(func() {
			for n := range studies {
				r, err := s.Record(context.Background(), invented(n), plainAuditor())
				if err != nil {
					t.Errorf("study %d: %v", n, err)
					return
				}
				lock.Lock()
				made += boolBit(r.New)
				lock.Unlock()
			}
		})
	}
	wait.Wait()
	if made != studies {
		t.Errorf("%d studies were new to one of the two, of %d", made, studies)
	}
	for table, want := range map[string]int{"study": studies, "object": studies, "reading": studies, "judgement": studies, "ruleset": 1} {
		if got := b.count(table); got != want {
			t.Errorf("%s: %d rows, want %d", table, got, want)
		}
	}
	b.holds()
}

// BenchmarkCommit tells what it takes to bring studies to the disk, by how many
// commit at a time.
func BenchmarkCommit(b *testing.B) {
	for _, at := range []int{1, 4, 16} {
		b.Run(fmt.Sprint(at), func(b *testing.B) {
			t := &bench{T: &testing.T{}, dir: b.TempDir()}
			t.store = t.open()
			states := make([]*State, b.N)
			for n := range states {
				states[n] = t.loaded(n)
			}
			next := make(chan *State)
			var wait sync.WaitGroup
			b.ResetTimer()
			for range at {
				wait.Go(func() {
					for st := range next {
						if _, err := t.store.Commit(context.Background(), st, nil); err != nil {
							b.Error(err)
						}
					}
				})
			}
			for _, st := range states {
				next <- st
			}
			close(next)
			wait.Wait()
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "studies/s")
		})
	}
}
