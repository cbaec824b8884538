package store

import (
	"context"
	"flag"
	"os"
	"path/filepath"
	"testing"
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

func makeReleased(t *testing.T) {
	t.Helper()
	b := &bench{T: t, dir: t.TempDir()}
	b.store = b.open()
	for n := range 3 {
		if _, err := b.store.Record(context.Background(), invented(n), plainAuditor()); err != nil {
			t.Fatal(err)
		}
	}
	b.list(Roster, "name,role\nDoe^Jane,reader\n")
	b.list(Labs, "station,lab,site,timezone\nbarrow-1,main,north,Europe/Berlin\n")
	b.list(Signoff, "study,signed\n2.25.9.1,2026-10-31T18:00\n")
	if err := b.store.Withdraw(context.Background(), b.waive("2.25.9.2").Number, "reader"); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(released, "v"+string(rune('0'+len(migrations()))))
	if err := os.MkdirAll(released, 0o755); err != nil {
		t.Fatal(err)
	}
	os.Remove(name + ".db") // a backup is never written over
	if err := b.store.Backup(context.Background(), name+".db"); err != nil {
		t.Fatal(err)
	}
	key, err := os.ReadFile(filepath.Join(b.dir, "key"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name+".key", key, 0o600); err != nil {
		t.Fatal(err)
	}
}
