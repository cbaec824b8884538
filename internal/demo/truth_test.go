package demo_test

import (
	"context"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"echotally/internal/demo"
	"echotally/internal/demo/casebook"
	"echotally/internal/desk"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/library"
	"echotally/internal/rule"
	"echotally/internal/run"
	"echotally/rules"
)

// TestEveryTruthIsFound writes the lab, audits the folder as a user would and
// holds the results against the truth: each seeded fault is reported by its
// rule, clean studies give nothing above information, and no rule reports
// what the truth does not know.
func TestEveryTruthIsFound(t *testing.T) {
	set, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	first, cases := demo.Written(t)
	second := filepath.Join(t.TempDir(), "lab")
	if _, err := demo.Write(second, casebook.Options{Seed: 2}); err != nil {
		t.Fatal(err)
	}
	for dir, cases := range map[string][]casebook.Case{first: cases, second: casebook.Studies(casebook.Options{Seed: 2})} {
		report := &kept{}
		if _, err := desk.Check(context.Background(), &desk.Desk{Library: set, Log: zerolog.Nop(), Now: time.Now}, []string{filepath.Join(dir, "studies")}, report); err != nil {
			t.Fatal(err)
		}
		for _, c := range cases {
			t.Run(c.Truth.Folder, func(t *testing.T) {
				compare(t, set, report, c.Truth)
			})
		}
	}
}

// kept keeps the studies of a run.
type kept struct {
	run     *run.Run
	studies []*run.Study
}

func (k *kept) Begin(r *run.Run) error                { k.run = r; return nil }
func (k *kept) Leaf(s *run.Study) (*run.Study, error) { return s, nil }
func (k *kept) Add(s *run.Study) error                { k.studies = append(k.studies, s); return nil }
func (k *kept) End() error                            { return nil }

func compare(t *testing.T, set *library.Library, report *kept, truth casebook.StudyTruth) {
	study := &run.Study{}
	for _, s := range report.studies {
		if s.StudyInstanceUID == truth.StudyInstanceUID {
			study = s
		}
	}
	var results []finding.Result
	if study.Judgement != nil {
		results = study.Judgement.Results
	}
	objects := objectsOf(report, truth.Folder)
	var expected []string
	unread := false
	for _, f := range truth.Faults {
		expected = append(append(expected, f.Rules...), f.Also...)
		for _, name := range f.Rules {
			expectRule(t, set, results, name, f)
		}
		if len(f.Rules) == 0 && !noticed(study.Study, objects, f) {
			t.Errorf("%s: nothing is %s: %+v", f.Kind, f.Outcome, objects)
		}
		unread = unread || f.Outcome == "partial" || f.Outcome == "refused"
	}
	if results == nil && !unread {
		t.Fatal("the study has no results")
	}
	if unread {
		return // what a damaged file lost is missing, and rightly said to be
	}
	for _, r := range results {
		acts := r.Outcome == finding.Fail || r.Outcome == finding.Review
		if acts && r.Severity.Rank() > finding.Information.Rank() && !slices.Contains(expected, r.Rule) {
			t.Errorf("%s reports %s (%s), which the truth does not know: %s", r.Rule, r.Outcome, r.Severity, r.Message)
		}
	}
}

// noticed looks for what became of an object or item that no rule judges.
func noticed(study *echo.Study, objects []run.Object, f casebook.FaultTruth) bool {
	state := run.State(f.Outcome)
	switch f.Outcome {
	case "superseded":
		return study != nil && slices.ContainsFunc(study.Documents, func(d echo.Document) bool { return d.SupersededBy == f.SOPInstanceUID })
	case "duplicate":
		if f.Measurand != "" {
			return study != nil && slices.ContainsFunc(study.Measurements, func(m echo.Measurement) bool {
				return m.Measurand == f.Measurand && m.DuplicateOf != nil && m.DuplicateOf.Item == f.Item
			})
		}
		state = run.Ignored
	}
	return slices.ContainsFunc(objects, func(o run.Object) bool { return o.State == state && o.Reason != "" })
}

// expectRule wants the rule's result to be what the truth says.
func expectRule(t *testing.T, set *library.Library, results []finding.Result, name string, f casebook.FaultTruth) {
	t.Helper()
	if !slices.ContainsFunc(set.Rules, func(r *rule.Rule) bool { return r.File.Identifier == name }) {
		t.Errorf("%s: there is no rule %s", f.Kind, name)
		return
	}
	for _, r := range results {
		if r.Rule == name {
			if string(r.Outcome) != f.Outcome {
				t.Errorf("%s: %s says %s, not %s: %s %v", f.Kind, name, r.Outcome, f.Outcome, r.Message, r.Missing)
			}
			if f.Item != "" && slices.Contains(r.Measurands, f.Measurand) && r.Kind == finding.Consistency && !pointsAt(r, f) {
				t.Errorf("%s: %s does not point at %s (%s)", f.Kind, name, f.Item, f.Measurand)
			}
			return
		}
	}
	t.Errorf("%s: %s gave no result", f.Kind, name)
}

// pointsAt reports whether the result's evidence names a value of the measurand
// the fault was seeded into.
func pointsAt(r finding.Result, f casebook.FaultTruth) bool {
	return slices.ContainsFunc(r.Evidence, func(e finding.Evidence) bool {
		return e.Measurement != nil && e.Measurement.Measurand == f.Measurand && e.Measurement.Source.SOPInstanceUID == f.SOPInstanceUID
	})
}

// objectsOf are the files below the study's folder.
func objectsOf(report *kept, folder string) []run.Object {
	all := slices.Clone(report.run.Unread)
	for _, s := range report.studies {
		all = append(all, s.Objects...)
	}
	return slices.DeleteFunc(all, func(o run.Object) bool {
		return !strings.Contains(filepath.ToSlash(o.Path), folder+"/")
	})
}
