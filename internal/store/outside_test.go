package store

import (
	"context"
	"strings"
	"testing"

	"echotally/internal/store/lablist"
)

// TestOutsideFindingsAreTiedByHash: what other tests found and how a request was
// judged comes to the study, before or after the study is there, and neither
// accession number nor UID is in what is kept.
func TestOutsideFindingsAreTiedByHash(t *testing.T) {
	b := newBench(t)
	ctx := context.Background()
	const head = "study,accession,measurand,test,value,unit,date\n"
	b.list(lablist.Correlation, head+"2.25.9.1,,heart-rate,catheter,62,/min,2026-11-02\n")
	if r := b.list(lablist.Correlation, head+"2.25.9.1,,heart-rate,catheter,64,/min,2026-11-02\n"); r.Changed != 1 {
		t.Errorf("a corrected value: %d changed", r.Changed)
	}
	b.list(lablist.Appropriateness, "study,class\n2.25.9.1,Rarely-appropriate\n")
	if _, err := b.store.Record(ctx, invented(1), plainAuditor()); err != nil {
		t.Fatal(err)
	}
	one := b.first()
	if len(one.Tests) != 1 || one.Tests[0].Value != "64" || one.Tests[0].Test != "catheter" || one.Appropriateness != "rarely-appropriate" {
		t.Errorf("tests %+v, class %q; want the corrected value and the class", one.Tests, one.Appropriateness)
	}
	// Of a study with other tests the measurements can be read, counted or not.
	for s, err := range b.store.CountedStudies(ctx, Period{}, Filter{}, plainAuditor().RuleSet.Digest, counterOf(t, b)) {
		if err != nil {
			t.Fatal(err)
		}
		if study, err := s.Rebuild(); err != nil || study == nil {
			t.Errorf("the study cannot be rebuilt: %v", err)
		}
	}
	for _, kind := range []lablist.Kind{lablist.Correlation, lablist.Appropriateness} {
		kept, err := b.store.Decisions(ctx, string(kind))
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range kept {
			if strings.Contains(string(d.Body), "2.25.9.1") {
				t.Errorf("%s keeps the UID: %s", kind, d.Body)
			}
		}
	}
	b.holds()
}

// counterOf is the counter that has counted the study.
func counterOf(t *testing.T, b *bench) string {
	t.Helper()
	var counter string
	if err := b.store.view.QueryRow("SELECT counter FROM judgement").Scan(&counter); err != nil {
		t.Fatal(err)
	}
	return counter
}
