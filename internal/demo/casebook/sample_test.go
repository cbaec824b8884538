package casebook

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"slices"
	"testing"
)

var update = flag.Bool("update", false, "rewrite the reports below testdata")

type sample struct {
	name string
	plan plan
}

// samples are the small reports that other packages' tests read, made with
// seed 1. New ones go to the end: the place gives a study its identifiers.
func samples() []sample {
	with := func(profile, dialect string, kinds ...string) plan {
		p := plan{profile: profile, dialect: dialect}
		for _, kind := range kinds {
			i := slices.IndexFunc(faults(), func(f fault) bool { return f.kind == kind })
			p.faults = append(p.faults, faults()[i])
		}
		return p
	}
	return []sample{
		{"limited-legacy", with("limited", "oldbarrow")},
		{"limited-modern", with("limited", "petrelline")},
		{"limited-simplified", with("limited", "gullmere")},
		{"child", with("child", "petrelline")},
		{"limited-cut-short", with("limited", "petrelline", "object-cut-short")},
		{"tricuspid-regurgitation-faulty", with("tricuspid-regurgitation-moderate", "oldbarrow", "pressure-other-atrial", "tapse-missing")},
		{"healthy-simplified-single-view", with("healthy-middle", "gullmere", "jet-one-view")},
		{"atrial-fibrillation-with-a-wave", with("atrial-fibrillation", "petrelline", "a-wave-in-fibrillation")},
	}
}

// TestSamplesOnDisk keeps testdata/sr as the demo makes it.
func TestSamplesOnDisk(t *testing.T) {
	for i, s := range samples() {
		t.Run(s.name, func(t *testing.T) {
			want, err := newCase(1, i, s.plan).Objects[0].Bytes()
			if err != nil {
				t.Fatal(err)
			}
			path := filepath.Join("..", "..", "..", "testdata", "sr", s.name+".dcm")
			if *update {
				if err := os.WriteFile(path, want, 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			got, err := os.ReadFile(path)
			if err != nil || !bytes.Equal(got, want) {
				t.Errorf("%s is not what the demo makes (%v); run go test ./internal/demo/casebook -update and look at what changes", path, err)
			}
		})
	}
}
