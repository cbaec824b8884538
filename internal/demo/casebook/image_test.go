package casebook

import (
	"context"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/rs/zerolog"

	"echotally/internal/dcm"
	"echotally/internal/desk"
	result "echotally/internal/finding"
	"echotally/internal/library"
	"echotally/internal/phantom"
	"echotally/internal/run"
	"echotally/rules"
)

// auditOf writes the objects of one study and audits them.
func auditOf(t *testing.T, set *library.Library, objects []phantom.Object) *run.Study {
	t.Helper()
	dir := t.TempDir()
	for _, o := range objects {
		b, err := o.Bytes()
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, o.Name), b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	k := &only{}
	if _, err := desk.Check(context.Background(), &desk.Desk{Library: set, Log: zerolog.Nop(), Now: time.Now}, []string{dir}, k); err != nil || k.n != 1 {
		t.Fatalf("%d studies: %v", k.n, err)
	}
	return k.study
}

// only keeps the one study of a run.
type only struct {
	n     int
	study *run.Study
}

func (o *only) Begin(*run.Run) error                  { return nil }
func (o *only) Leaf(s *run.Study) (*run.Study, error) { return s, nil }
func (o *only) Add(s *run.Study) error                { o.n, o.study = o.n+1, s; return nil }
func (o *only) End() error                            { return nil }

// acquired lists what the acquisition rules came to.
func acquired(s *run.Study, outcomes ...result.Outcome) []string {
	var out []string
	for _, r := range s.Judgement.Results {
		if strings.HasPrefix(r.Rule, "acquisition/") && slices.Contains(outcomes, r.Outcome) {
			out = append(out, r.Rule)
		}
	}
	return out
}

// Studies with the same report to the byte and different image headers get
// different findings; without images nothing is said to be missing.
func TestSameReportOtherImages(t *testing.T) {
	set, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	clean := newCase(3, 0, plan{profile: "healthy-middle", dialect: "petrelline", imaged: true})
	study := auditOf(t, set, clean.Objects)
	if got := acquired(study, result.Fail, result.Review); len(got) > 0 {
		t.Errorf("orderly images: %v", got)
	}
	if got := acquired(study, result.Pass); len(got) < 25 {
		t.Errorf("only %d acquisition rules could be judged: %v", len(got), got)
	}
	compared := 0
	for _, f := range imageFaults() {
		if f.seed != nil || f.profile != "healthy-middle" {
			continue // these change the report as well
		}
		spoiled := newCase(3, 0, plan{profile: "healthy-middle", dialect: "petrelline", imaged: true, faults: []fault{f}})
		objects := append(slices.Clone(clean.Objects[:1]), spoiled.Objects[1:]...)
		compared++
		if got := acquired(auditOf(t, set, objects), result.Fail); !slices.Equal(got, slices.Sorted(slices.Values(f.rules))) {
			t.Errorf("%s: %v, want %v", f.kind, got, f.rules)
		}
	}
	if compared < 5 {
		t.Errorf("only %d pairs compared", compared)
	}
}

// The wall filter and the sample gate have no standard attribute: without a
// site's mapping the rules cannot tell, with it they judge what the scanner wrote.
func TestPrivateSettingsAreJudged(t *testing.T) {
	site := fstest.MapFS{"scanners.yaml": {Data: []byte(`- {setting: wallFilter, creator: PETRELLINE DOPPLER, element: "0019,xx12", unit: Hz}
- {setting: sampleGate, creator: PETRELLINE DOPPLER, element: "0019,xx13", unit: mm}
`)}}
	filter, gate := "acquisition/tricuspid-inflow-wall-filter", "acquisition/tricuspid-inflow-sample-gate"
	cases := []struct {
		name         string
		layers       []fs.FS
		hertz, mm    int
		filter, gate result.Outcome
	}{
		{"nobody says where", []fs.FS{rules.FS}, 50, 2, result.Open, result.Open},
		{"low filter, short gate", []fs.FS{rules.FS, site}, 50, 2, result.Pass, result.Pass},
		{"high filter, long gate", []fs.FS{rules.FS, site}, 400, 8, result.Fail, result.Fail},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			set, err := library.Load(library.Settings{}, c.layers...)
			if err != nil {
				t.Fatal(err)
			}
			objects := newCase(3, 0, plan{profile: "healthy-middle", dialect: "petrelline", imaged: true}).Objects
			for i := range objects[1:] {
				objects[1+i].Dataset.Add(dcm.Private(dcm.T(0x00190010), "LO", []string{"PETRELLINE DOPPLER"}),
					dcm.Private(dcm.T(0x00191012), "US", []int{c.hertz}), dcm.Private(dcm.T(0x00191013), "US", []int{c.mm}))
			}
			got := map[string]result.Outcome{}
			for _, r := range auditOf(t, set, objects).Judgement.All() {
				got[r.Rule] = r.Outcome
			}
			if got[filter] != c.filter || got[gate] != c.gate {
				t.Errorf("wall filter %v, sample gate %v; want %v, %v", got[filter], got[gate], c.filter, c.gate)
			}
		})
	}
}

func TestStudyWithoutImagesIsNotLookedAt(t *testing.T) {
	set, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	alone := newCase(3, 0, plan{profile: "healthy-middle", dialect: "petrelline", imaged: true}).Objects[:1]
	study := auditOf(t, set, alone)
	if got := acquired(study, result.Fail, result.Review, result.Open, result.Pass); len(got) > 0 {
		t.Errorf("judged without images: %v", got)
	}
	looked := 0
	for _, r := range study.Judgement.All() {
		if strings.HasPrefix(r.Rule, "acquisition/") {
			looked++
			if !strings.Contains(r.Message, "not looked at") || strings.Contains(r.Message, "missing") {
				t.Errorf("%s: %q", r.Rule, r.Message)
			}
		}
	}
	if looked < 30 {
		t.Errorf("only %d acquisition rules", looked)
	}
}
