package desk

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"echotally/internal/bench"
	"echotally/internal/dcmtest"
	"echotally/internal/layout"
	"echotally/internal/library"
	"echotally/internal/writer"
	"echotally/rules"
)

// BenchmarkCheck takes studies of 77 kB from files to the written document, with
// all rules. Of it, time and memory per study are reported.
func BenchmarkCheck(b *testing.B) {
	const studies = 60
	dir := b.TempDir()
	for i, d := range bench.Reports(77_000, studies) {
		if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("%d.dcm", i)), dcmtest.Encode(d, dcmtest.Encoding{}), 0o644); err != nil {
			b.Fatal(err)
		}
	}
	lib, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		b.Fatal(err)
	}
	d := &Desk{Library: lib, Now: time.Now, Log: zerolog.Nop()}
	for _, f := range []layout.Format{layout.JSON, layout.Text} {
		b.Run(string(f), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if tally, err := Check(context.Background(), d, []string{dir}, writer.GapSheet(io.Discard, f, writer.Options{})); err != nil || tally.Studies != studies {
					b.Fatal(tally, err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N*studies), "µs/study")
		})
	}
}
