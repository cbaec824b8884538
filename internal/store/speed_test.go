package store

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"echotally/internal/echo"
	"echotally/internal/judge"
	"echotally/internal/store/form"
)

// BenchmarkPeriod tells what a study costs when a period is gone through: its
// results, the study itself, and judging it anew.
func BenchmarkPeriod(b *testing.B) {
	t := newBench(&testing.T{})
	t.dir = b.TempDir()
	t.store = t.open()
	t.fill(b, 25)
	for _, what := range []string{"results", "study", "judged"} {
		b.Run(what, func(b *testing.B) {
			for n := 0; n < b.N; {
				for s, err := range t.store.Studies(context.Background(), Period{}, Filter{}, t.set.Digest) {
					if err != nil {
						b.Fatal(err)
					}
					if n++; n > b.N {
						break
					}
					if what == "results" {
						continue
					}
					study, err := s.Rebuild()
					if err != nil {
						b.Fatal(err)
					}
					if what == "judged" && study != nil {
						judge.Study(t.set, study, judge.By{})
					}
				}
			}
		})
	}
}

// fill records copies of the demo reports under other UIDs.
func (b *bench) fill(tb testing.TB, copies int) {
	files, err := filepath.Glob("../../testdata/sr/*.dcm")
	if err != nil {
		tb.Fatal(err)
	}
	in := map[string][]byte{}
	for _, f := range files {
		if in[filepath.Base(f)], err = os.ReadFile(f); err != nil {
			tb.Fatal(err)
		}
	}
	read, err := readAll(b, in)
	if err != nil {
		tb.Fatal(err)
	}
	for n := range copies {
		for _, s := range read.Studies {
			s.StudyInstanceUID += fmt.Sprintf(".%d", n)
			s.Objects = slices.Clone(s.Objects)
			reports := map[string]*echo.Study{}
			for i := range s.Objects {
				o := &s.Objects[i]
				o.SHA256, o.SOPInstanceUID = form.Digest([]byte(o.SHA256+s.StudyInstanceUID)), o.SOPInstanceUID+fmt.Sprintf(".%d", n)
				if r := s.Reports[o.Path]; r != nil {
					one := *r
					one.StudyInstanceUID = s.StudyInstanceUID
					reports[o.Path] = &one
				}
			}
			s.Reports = reports
			if _, err := b.store.Record(context.Background(), &s, b.auditor()); err != nil {
				tb.Fatal(err)
			}
		}
	}
}
