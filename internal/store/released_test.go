package store

import (
	"context"
	"database/sql"
	"flag"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/judgement"
	"echotally/internal/packed"
	"echotally/internal/packed/first"
	"echotally/internal/packedtest"
	"echotally/internal/store/decision"
	"echotally/internal/store/form"
	"echotally/internal/store/keyfile"
	"echotally/internal/store/lablist"
)

var update = flag.Bool("update", false, "make the ledger of the current schema version anew, as long as it is not released")

const released = "../../testdata/store"

// TestLedgersOfEveryVersionOpen opens a ledger as each schema version left it.
// The ledger of a released version is never made anew.
func TestLedgersOfEveryVersionOpen(t *testing.T) {
	if *update {
		makeReleased(t)
	}
	for version := range migrations() {
		name := "v" + string(rune('1'+version))
		t.Run(name, func(t *testing.T) {
			b := openReleased(t, name)
			b.holds()
			all := 0
			for s, err := range b.store.Studies(context.Background(), Period{}, Filter{}, plainAuditor().RuleSet.Digest) {
				if err != nil {
					t.Fatal(err)
				}
				all++
				study, err := s.Rebuild()
				if err != nil || len(study.Measurements) != 1 || study.Measurements[0].Measurand != "heart-rate" {
					t.Errorf("%s: %v", s.UID, err)
				}
				if !s.Judged || len(s.Rules) != 2 || s.Protocols.Base.Identifier != "adult" || s.Date != "2026-10-31" {
					t.Errorf("%s: %+v", s.UID, s)
				}
				if who, err := b.store.Identity(context.Background(), s.UID); err != nil || who.PatientID.Reveal() != "P"+s.UID {
					t.Errorf("%s: identity %v", s.UID, err)
				}
			}
			if all != 3 || b.count("waiver") != 2 || b.count("stamp") != 1 || b.count("staff") != 1 || b.count("station") != 1 {
				t.Errorf("%d studies, or lists and waivers are not all there", all)
			}
			j, of, err := b.store.Judgement(context.Background(), "2.25.9.1", plainAuditor().RuleSet.Digest)
			if err != nil || j == nil || of == nil || len(j.Results) != 2 || j.Results[1].Message != "50 is not 60" || j.Results[1].Title != "Fits" {
				t.Errorf("what was judged: %+v, %v", j, err)
			}
			decisions, err := b.store.Decisions(context.Background(), "action")
			if want := version / 2; err != nil || len(decisions) != want { // since version 3
				t.Errorf("%d decisions, %v", len(decisions), err)
			}
			// The current program goes on with it.
			if r, err := b.store.Record(context.Background(), invented(1), plainAuditor()); err != nil || r.New {
				t.Errorf("the same again: %+v, %v", r, err)
			}
			if r, err := b.store.Record(context.Background(), invented(9), plainAuditor()); err != nil || !r.New {
				t.Errorf("another: %+v, %v", r, err)
			}
			b.holds()
		})
	}
}

// TestEveryFieldOfEveryVersionIsRead opens ledgers in which a study, and since
// version 2 its judgement, is filled in every field there was, and holds each
// field against what it was filled with. Version 1 named fields by what they were
// called then, later ones by number.
func TestEveryFieldOfEveryVersionIsRead(t *testing.T) {
	if *update {
		makeFilled(t)
	}
	for version := range migrations() {
		name := "v" + string(rune('1'+version)) + "-filled"
		t.Run(name, func(t *testing.T) {
			b := openReleased(t, name)
			b.holds()
			want, err := os.ReadFile(filepath.Join(released, name+".txt"))
			if err != nil {
				t.Fatal(err)
			}
			study, err := b.first().Rebuild()
			if err != nil {
				t.Fatal(err)
			}
			name := first.Name
			if version > 0 {
				name = nil
			}
			got := packedtest.Lines(study, name)
			if version > 0 {
				var whole []byte
				if err := b.store.view.QueryRow("SELECT whole FROM judgement").Scan(&whole); err != nil {
					t.Fatal(err)
				}
				plain, err := packed.Loosen(whole)
				if err != nil {
					t.Fatal(err)
				}
				j := &judgement.Judgement{}
				if err := form.Judgement(filledRules()).Unpack(plain, j, nil); err != nil {
					t.Fatal(err)
				}
				for _, line := range packedtest.Lines(j, nil) {
					got = append(got, "judgement "+line)
				}
			}
			// What was kept must be read; fields that came later are not in it.
			missing := slices.DeleteFunc(strings.Split(strings.TrimSpace(string(want)), "\n"), func(line string) bool { return slices.Contains(got, line) })
			if len(missing) > 0 {
				t.Errorf("%d fields are not read as they were kept, the first: %s", len(missing), missing[0])
			}
		})
	}
}

// TestWhatDidNotHoldIsStillNamed changes a ledger of version 1 behind its back: to
// be brought to this version does not make it good.
func TestWhatDidNotHoldIsStillNamed(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "ledger.db")
	content, err := os.ReadFile(filepath.Join(released, "v1.db"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, content, 0o600); err != nil {
		t.Fatal(err)
	}
	db, err := sql.Open("sqlite", dsn(file, nil))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec("UPDATE study SET date = '2020-01-01' WHERE uid = '2.25.9.1'"); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(context.Background(), file, Options{}); err == nil || !strings.Contains(err.Error(), "takes its key") {
		t.Errorf("brought to this version without the key: %v", err)
	}
	secret, err := os.ReadFile(filepath.Join(released, "v1.key"))
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, "key"), secret, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	key, err := keyfile.Read(filepath.Join(dir, "key"))
	if err != nil {
		t.Fatal(err)
	}
	s, err := Open(context.Background(), file, Options{Key: key})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	p, err := s.Verify(context.Background(), "")
	if err != nil || len(p.Faults) != 1 || !strings.Contains(p.Faults[0], "did not hold") || !strings.Contains(p.Faults[0], "study:2.25.9.1") {
		t.Errorf("%+v, %v", p, err)
	}
}

// TestNumbersAreGivenOnce holds the numbers of all kept types against the list.
func TestNumbersAreGivenOnce(t *testing.T) {
	packedtest.HoldNumbers(t, filepath.Join(released, "fields.txt"), *update,
		reflect.TypeFor[echo.Study](), reflect.TypeFor[echo.Image](), reflect.TypeFor[judgement.Judgement](), reflect.TypeFor[ruleList](), reflect.TypeFor[brief]())
}

// openReleased opens a copy of a ledger in testdata.
func openReleased(t *testing.T, name string) *bench {
	t.Helper()
	b := &bench{T: t, dir: t.TempDir()}
	for from, to := range map[string]string{name + ".db": b.file(), name + ".key": filepath.Join(b.dir, "key")} {
		content, err := os.ReadFile(filepath.Join(released, from))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(to, content, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	b.store = b.open()
	return b
}

// first is the first study of the ledger.
func (b *bench) first() *Study {
	b.Helper()
	for s, err := range b.store.Studies(context.Background(), Period{}, Filter{}, "") {
		if err != nil {
			b.Fatal(err)
		}
		return s
	}
	b.Fatal("the ledger holds no study")
	return nil
}

// filledRules is a rule set with one rule.
func filledRules() []finding.About { return []finding.About{{Identifier: "text 1"}} }

// makeFilled keeps a ledger of the current version filled in every field.
func makeFilled(t *testing.T) {
	t.Helper()
	b := &bench{T: t, dir: t.TempDir()}
	b.store = b.open()
	by := plainAuditor()
	var study echo.Study
	j := &judgement.Judgement{}
	packedtest.Fill(t, &study)
	packedtest.Fill(t, j)
	j.NotApplicable = j.NotApplicable[:0] // the one rule applies
	j.Results[0].Rule = filledRules()[0].Identifier
	by.Compose = func([]*echo.Study, []*echo.Image) *echo.Study { return &study }
	by.Judge = func(*echo.Study) (*Judged, error) { return &Judged{Judgement: j, Rules: filledRules()}, nil }
	if _, err := b.store.Record(context.Background(), invented(0), by); err != nil {
		t.Fatal(err)
	}
	kept, err := b.first().Rebuild()
	if err != nil {
		t.Fatal(err)
	}
	j.ContentDigest = b.first().digest
	lines := packedtest.Lines(kept, nil)
	for _, line := range packedtest.Lines(j, nil) {
		lines = append(lines, "judgement "+line)
	}
	name := "v" + string(rune('0'+len(migrations()))) + "-filled"
	if err := os.WriteFile(filepath.Join(released, name+".txt"), []byte(strings.Join(lines, "\n")+"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	b.keepReleased(name)
}

func makeReleased(t *testing.T) {
	t.Helper()
	b := &bench{T: t, dir: t.TempDir()}
	b.store = b.open()
	for n := range 3 {
		if _, err := b.store.Record(context.Background(), invented(n), plainAuditor()); err != nil {
			t.Fatal(err)
		}
	}
	b.list(lablist.Roster, "name,role\nDoe^Jane,reader\n")
	b.list(lablist.Labs, "station,lab,site,timezone\nbarrow-1,main,north,Europe/Berlin\n")
	b.list(lablist.Signoff, "study,signed\n2.25.9.1,2026-10-31T18:00\n")
	if err := b.store.Withdraw(context.Background(), b.waive("2.25.9.2").Number, "reader"); err != nil {
		t.Fatal(err)
	}
	if _, err := b.store.Decide(context.Background(), "action", func([]decision.Decision) (any, error) { return map[string]string{"title": "worklist"}, nil }); err != nil {
		t.Fatal(err)
	}
	b.keepReleased("v" + string(rune('0'+len(migrations()))))
}

// keepReleased puts a copy of the ledger and its key into testdata.
func (b *bench) keepReleased(name string) {
	b.Helper()
	name = filepath.Join(released, name)
	os.Remove(name + ".db") // a backup is never written over
	if err := b.store.Backup(context.Background(), name+".db"); err != nil {
		b.Fatal(err)
	}
	key, err := os.ReadFile(filepath.Join(b.dir, "key"))
	if err != nil {
		b.Fatal(err)
	}
	if err := os.WriteFile(name+".key", key, 0o600); err != nil {
		b.Fatal(err)
	}
}
