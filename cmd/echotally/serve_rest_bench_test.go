package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"syscall"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"echotally/internal/bench"
	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/desk"
	"echotally/internal/library"
	"echotally/internal/store"
	"echotally/internal/store/keyfile"
	"echotally/rules"
)

// BenchmarkRested records studies one by one that came to rest, each a report of 20 kB
// and nine images of 200 kB, and reports the processor time from rest to the findings in
// the ledger, which other work on the machine does not change: of half of the studies
// and of 99 of 100.
func BenchmarkRested(b *testing.B) {
	set, err := library.Load(library.Settings{NoExamples: true}, rules.FS)
	if err != nil {
		b.Fatal(err)
	}
	const studies = 150
	reports := bench.Reports(20_000, studies)
	for b.Loop() {
		ctx, dir := context.Background(), b.TempDir()
		key, err := keyfile.Make(filepath.Join(dir, "key"))
		if err != nil {
			b.Fatal(err)
		}
		ledger, err := store.Open(ctx, filepath.Join(dir, "lab.db"), store.Options{Key: key})
		if err != nil {
			b.Fatal(err)
		}
		r := &desk.Recorder{
			Desk: &desk.Desk{Library: set, Now: time.Now, Log: zerolog.Nop()}, Ledger: ledger, Tell: func(*store.Receipt) error { return nil }, Failed: func(_, reason string) { b.Error(reason) },
		}
		in := desk.Inbox{Waiting: filepath.Join(dir, "waiting"), Recorded: filepath.Join(dir, "recorded")}
		var took []float64
		for n, report := range reports {
			study := report.UID(dcm.T(0x0020000D))
			folder := filepath.Join(in.Waiting, study)
			if err := os.MkdirAll(folder, 0o700); err != nil {
				b.Fatal(err)
			}
			report.Set(dcm.Strings(dcm.T(0x00100020), fmt.Sprint("P", n)))
			for k := range 10 {
				content := dcmtest.Encode(report, dcmtest.Encoding{})
				if k > 0 {
					content = servedImage(b, study, fmt.Sprint(study, ".", k), 200_000/64)
				}
				if err := os.WriteFile(filepath.Join(folder, fmt.Sprint(k, ".dcm")), content, 0o600); err != nil {
					b.Fatal(err)
				}
			}
			before := processorTime(b)
			if err := r.Rested(ctx, in); err != nil {
				b.Fatal(err)
			}
			took = append(took, float64((processorTime(b)-before).Microseconds())/1000)
		}
		slices.Sort(took)
		b.ReportMetric(took[studies/2], "cpu-ms-median")
		b.ReportMetric(took[studies*99/100], "cpu-ms-99th")
		if err := ledger.Close(); err != nil {
			b.Fatal(err)
		}
	}
}

// processorTime is what this process has taken of all processors.
func processorTime(b *testing.B) time.Duration {
	b.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
