package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"echotally/internal/desk"
	"echotally/internal/library"
	"echotally/internal/store"
	"echotally/internal/store/keyfile"
	"echotally/rules"
)

// TestAStudyIsRecordedWhenItRests: not before the quiet time, whatever came of it last,
// and again when something comes later; in whatever order report and images come, the
// same is found in the end.
func TestAStudyIsRecordedWhenItRests(t *testing.T) {
	set, err := library.Load(library.Settings{NoExamples: true}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	const study = "2.25.88"
	content := map[string][]byte{"report": servedReport(t, study, "2.25.771", 61), "first": servedImage(t, study, "2.25.772", 8), "second": servedImage(t, study, "2.25.773", 9)}
	digests := map[string]bool{}
	for _, order := range [][]string{{"report", "first", "second"}, {"report", "second", "first"}, {"first", "report", "second"}, {"first", "second", "report"}, {"second", "first", "report"}, {"second", "report", "first"}} {
		t.Run(fmt.Sprint(order), func(t *testing.T) {
			ctx, dir, begun := context.Background(), t.TempDir(), time.Date(2026, 10, 3, 8, 0, 0, 0, time.UTC)
			now := begun
			key, err := keyfile.Make(filepath.Join(dir, "key"))
			if err != nil {
				t.Fatal(err)
			}
			ledger, err := store.Open(ctx, filepath.Join(dir, "lab.db"), store.Options{Key: key})
			if err != nil {
				t.Fatal(err)
			}
			defer ledger.Close()
			fresh := 0
			r := &desk.Recorder{
				Desk: &desk.Desk{Library: set, Now: func() time.Time { return now }, Log: zerolog.Nop()}, Ledger: ledger, Failed: func(_, reason string) { t.Error(reason) },
				Tell: func(receipt *store.Receipt) error {
					for _, o := range receipt.Objects {
						if o.New {
							fresh++
						}
					}
					return nil
				},
			}
			in := desk.Inbox{Waiting: filepath.Join(dir, "waiting"), Recorded: filepath.Join(dir, "recorded"), Quiet: 30 * time.Second}
			comes := func(name string) {
				path := filepath.Join(in.Waiting, study, name)
				if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(path, content[name], 0o600); err != nil {
					t.Fatal(err)
				}
				for _, changed := range []string{path, filepath.Dir(path)} {
					if err := os.Chtimes(changed, now, now); err != nil {
						t.Fatal(err)
					}
				}
			}
			known := func(after time.Duration, want int) {
				t.Helper()
				now = begun.Add(after)
				if err := r.Rested(ctx, in); err != nil || fresh != want {
					t.Fatalf("after %v %d objects are recorded, want %d; %v", after, fresh, want, err)
				}
			}
			comes(order[0])
			known(20*time.Second, 0)
			comes(order[1])
			known(45*time.Second, 0)
			known(50*time.Second, 2)
			known(time.Hour, 2)
			comes(order[2])
			known(time.Hour+29*time.Second, 2)
			known(time.Hour+30*time.Second, 3)
			judgement, err := ledger.LatestJudgement(ctx, study)
			if err != nil || judgement == nil || judgement.Read.Images != 2 || judgement.Read.Documents != 1 {
				t.Fatalf("%+v, %v", judgement, err)
			}
			digests[judgement.ContentDigest] = true
		})
	}
	if len(digests) != 1 {
		t.Errorf("the study is not the same in all orders: %v", digests)
	}
}
