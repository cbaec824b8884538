package writer

import (
	"io"
	"testing"
	"time"

	"echotally/internal/bench"
	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/echo"
	"echotally/internal/extract"
	"echotally/internal/judge"
	"echotally/internal/layout"
	"echotally/internal/ruletest"
	"echotally/internal/run"
	"echotally/internal/sr"
	"echotally/internal/term"
)

// large is a study as long as real ones get, with all rules put to it.
func large(tb testing.TB) *work {
	tb.Helper()
	lib := ruletest.Load(tb)
	object := dcmtest.Encode(bench.Reports(140_000, 1)[0], dcmtest.Encoding{})
	file, err := dcm.ReadBytes(object)
	if err != nil {
		tb.Fatal(err)
	}
	doc, err := sr.Parse(file)
	if err != nil {
		tb.Fatal(err)
	}
	study := run.Compose(lib, []*echo.Study{extract.Report(doc, extract.Catalogues{Measurands: lib.Measurands, Statements: lib.Statements})}, nil)
	return &work{
		run: &run.Run{Created: time.Unix(0, 0), Studies: 1, Measurands: lib.Measurands, Windows: lib.Terms.Ordered(term.Window)},
		studies: []*run.Study{{StudyInstanceUID: study.StudyInstanceUID, Study: study, Judgement: judge.Study(lib, study, judge.By{}),
			Objects: []run.Object{{Path: "lab/2026-10/report.dcm", SOPInstanceUID: doc.SOPInstanceUID, SOPClassUID: doc.SOPClassUID, State: run.Read}}}},
	}
}

// A long study without images stays short in JSON: 80 kB at 178 measurements. With thirty
// images it takes up to 102 kB.
func TestLargeStudyIsShortInJSON(t *testing.T) {
	if testing.Short() {
		t.Skip("left out by -short: the shipped rules are loaded")
	}
	w := large(t)
	d := GapSheet(io.Discard, layout.JSON, Options{})
	if err := d.Begin(w.run); err != nil {
		t.Fatal(err)
	}
	leaf, err := d.Leaf(w.studies[0])
	if err != nil {
		t.Fatal(err)
	}
	n := len(w.studies[0].Study.Measurements)
	if most := 80_000 * max(n, 100) / 178; n < 100 || len(leaf.content) > max(most, 80_000) {
		t.Errorf("%d bytes for %d measurements", len(leaf.content), n)
	}
}

// BenchmarkLeaf lays out one large study, by format.
func BenchmarkLeaf(b *testing.B) {
	w := large(b)
	for _, f := range layout.Formats() {
		b.Run(string(f), func(b *testing.B) {
			d := GapSheet(io.Discard, f, Options{})
			if err := d.Begin(w.run); err != nil {
				b.Fatal(err)
			}
			size := 0
			b.ReportAllocs()
			for b.Loop() {
				leaf, err := d.Leaf(w.studies[0])
				if err != nil {
					b.Fatal(err)
				}
				size = len(leaf.content)
			}
			b.ReportMetric(float64(size), "bytes/study")
			b.ReportMetric(float64(len(w.studies[0].Study.Measurements)), "measurements")
		})
	}
}

// BenchmarkJudgeForLeaf is what the same study takes to be judged.
func BenchmarkJudgeForLeaf(b *testing.B) {
	w := large(b)
	by := judge.New(ruletest.Load(b))
	b.ReportAllocs()
	for b.Loop() {
		by.Study(w.studies[0].Study, judge.By{})
	}
}
