package store

import (
	"bytes"
	"context"
	"os"
	"slices"
	"strings"
	"testing"

	"echotally/internal/finding"
	"echotally/internal/judge"
	"echotally/internal/packed"
	"echotally/internal/store/form"
)

// visit is a report of a woman of 60 with a height; n tells the visits apart.
func (b *bench) visit(n, date, id, birth, height string) []byte {
	b.Helper()
	return encode(b, strings.Join([]string{
		"header 00080018 = 2.25.1" + n, "header 0020000D = 2.25.2" + n, "header 00080020 = " + date, "header 00100020 = " + id,
		"header 00100030 = " + birth, "header 00101010 = 060Y", "header 00100040 = F",
	}, "\n")+"\ncontainer DCM:125200 \"Adult Echocardiography Procedure Report\"\n  contains num LN:8302-2 \"Height\" = "+height+" cm\n")
}

const asBefore = "patient/height-as-before"

// outcomes gives what the rule came to for each study, by date.
func (b *bench) outcomes(rule string) string {
	b.Helper()
	var out []string
	for _, s := range b.studies() {
		outcome, _ := s.Outcome(slices.IndexFunc(s.Rules, func(a finding.About) bool { return a.Identifier == rule }))
		out = append(out, s.Date[:4]+" "+string(outcome))
	}
	return strings.Join(out, ", ")
}

func TestStudiesOfAPersonAreComparedInWhateverOrder(t *testing.T) {
	var kept []string
	for _, order := range []string{"123", "321", "213", "132"} {
		b := newBench(t)
		for _, n := range order {
			b.take(map[string][]byte{"x.dcm": map[rune][]byte{
				'1': b.visit("1", "20240105", "MARKER-77", "19640203", "170"),
				'2': b.visit("2", "20250106", "MARKER-77", "19640203", "158"),
				'3': b.visit("3", "20260107", "MARKER-77", "19640203", "159"),
			}[n]})
		}
		if got, want := b.outcomes(asBefore), "2024 notApplicable, 2025 fail, 2026 pass"; got != want {
			t.Errorf("in order %s: %s, want %s", order, got, want)
		}
		all := ""
		for _, s := range b.studies() {
			study, err := s.Rebuild()
			if err != nil {
				t.Fatal(err)
			}
			all += form.Digest(packed.Pack(study, nil)) + "\n"
		}
		kept = append(kept, all)
		b.holds()
		if err := b.store.Close(); err != nil {
			t.Fatal(err)
		}
		content, err := os.ReadFile(b.file())
		if err != nil || bytes.Contains(content, []byte("MARKER")) || bytes.Contains(content, []byte("19640203")) {
			t.Errorf("the ledger names the patient, or %v", err)
		}
	}
	for i := range kept {
		if kept[i] != kept[0] {
			t.Error("what is kept depends on the order in which the studies came")
		}
	}
}

func TestOnlyThePersonIsCompared(t *testing.T) {
	b := newBench(t)
	b.take(map[string][]byte{"a.dcm": b.visit("1", "20240105", "77", "19640203", "170")})
	b.take(map[string][]byte{"b.dcm": b.visit("2", "20250106", "78", "19640203", "158")})
	if got := b.outcomes(asBefore); got != "2024 notApplicable, 2025 notApplicable" {
		t.Errorf("another ID: %s", got)
	}
	b.take(map[string][]byte{"c.dcm": b.visit("3", "20260107", "77", "19700101", "158")})
	if got := b.outcomes(asBefore); got != "2024 notApplicable, 2025 notApplicable, 2026 notApplicable" {
		t.Errorf("another birth date: %s", got)
	}
	if got := b.outcomes("patient/same-person-as-before"); got != "2024 notApplicable, 2025 notApplicable, 2026 fail" {
		t.Errorf("another birth date under the ID: %s", got)
	}
}

// What was judged with an earlier study comes to the same when what is kept is
// judged again, and given again it changes nothing.
func TestAComparedStudyIsJudgedAlike(t *testing.T) {
	b := newBench(t)
	first, second := b.visit("1", "20240105", "77", "19640203", "170"), b.visit("2", "20250106", "77", "19640203", "158")
	b.take(map[string][]byte{"a.dcm": first, "b.dcm": second})
	head := b.holds().Head
	b.take(map[string][]byte{"a.dcm": first, "b.dcm": second})
	if now := b.holds().Head; now != head {
		t.Error("the same again changed the ledger")
	}
	failed := 0
	for _, s := range b.studies() {
		study, err := s.Rebuild()
		if err != nil {
			t.Fatal(err)
		}
		again := judge.Study(b.set, study, judge.By{}).All()
		for i, r := range s.Rules {
			outcome, _ := s.Outcome(i)
			if outcome != again[i].Outcome {
				t.Errorf("%s %s: kept as %s, judged again %s", s.Date, r.Identifier, outcome, again[i].Outcome)
			}
			if r.Identifier == asBefore && outcome == finding.Fail {
				failed++
			}
		}
	}
	if failed != 1 {
		t.Errorf("%d studies failed by the height", failed)
	}
}

// A ledger that an earlier program made is tied when it is opened with its key.
func TestAnOlderLedgerIsTied(t *testing.T) {
	b := newBench(t)
	b.take(map[string][]byte{"a.dcm": b.visit("1", "20240105", "77", "19640203", "170")})
	err := b.store.write(context.Background(), "forget", func(t *tx) error {
		if err := t.drop("identity", "patient:2.25.21", sqlDropIdentity, "patient", "2.25.21"); err != nil {
			return err
		}
		if err := t.drop("meta", "patients", "DELETE FROM meta WHERE name = 'patients'"); err != nil {
			return err
		}
		return t.event("", "forgotten", nil)
	})
	if err != nil {
		t.Fatal(err)
	}
	b.store.Close()
	b.store = b.open()
	b.take(map[string][]byte{"b.dcm": b.visit("2", "20250106", "77", "19640203", "158")})
	if got := b.outcomes(asBefore); got != "2024 notApplicable, 2025 fail" {
		t.Errorf("after tying: %s", got)
	}
	b.holds()
}
