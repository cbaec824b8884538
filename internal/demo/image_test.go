package demo

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"echotally/internal/audit"
	result "echotally/internal/finding"
	"echotally/internal/rule"
	"echotally/rules"
)

// auditOf writes the objects of one study and audits them.
func auditOf(t *testing.T, set *rule.Set, objects []Object) *audit.Study {
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
	report, err := audit.Run(context.Background(), []string{dir}, audit.Options{
		Rules: set, SoftwareVersion: "test", Log: zerolog.Nop(), Now: func() time.Time { return time.Unix(0, 0).UTC() },
	})
	if err != nil || len(report.Studies) != 1 {
		t.Fatalf("%d studies: %v", len(report.Studies), err)
	}
	return &report.Studies[0]
}

// acquired lists what the acquisition rules came to.
func acquired(s *audit.Study, outcomes ...result.Outcome) []string {
	var out []string
	for _, r := range s.Results {
		if strings.HasPrefix(r.Rule, "acquisition/") && slices.Contains(outcomes, r.Outcome) {
			out = append(out, r.Rule)
		}
	}
	return out
}

// Studies with the same report to the byte and different image headers get
// different findings; without images nothing is said to be missing.
func TestSameReportOtherImages(t *testing.T) {
	set, err := rule.Load(rule.Settings{}, rules.FS)
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

func TestStudyWithoutImagesIsNotLookedAt(t *testing.T) {
	set, err := rule.Load(rule.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	alone := newCase(3, 0, plan{profile: "healthy-middle", dialect: "petrelline", imaged: true}).Objects[:1]
	study := auditOf(t, set, alone)
	if got := acquired(study, result.Fail, result.Review, result.Open, result.Pass); len(got) > 0 {
		t.Errorf("judged without images: %v", got)
	}
	looked := 0
	for _, r := range study.Results {
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
