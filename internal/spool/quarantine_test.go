package spool_test

import (
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"echotally/internal/disk"
	"echotally/internal/spool"
)

// quarantined is a spool with one object in the quarantine, which Check takes once it is
// readable.
func quarantined(t *testing.T) (s *spool.Spool, name string, readable *bool) {
	t.Helper()
	readable = new(bool)
	s = &spool.Spool{Dir: t.TempDir(), Check: func(string) (spool.Identity, spool.Status, error) {
		if *readable {
			return spool.Identity{Study: "2.25.7"}, spool.Success, nil
		}
		return spool.Identity{}, spool.CannotUnderstand, errors.New("no report")
	}}
	if err := s.Make("test"); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	in := s.Begin(100)
	if _, err := in.Write([]byte("what came")); err != nil {
		t.Fatal(err)
	}
	if _, status := in.Finish(func(spool.Identity) (spool.Status, error) { return spool.Success, nil }); status != spool.CannotUnderstand {
		t.Fatal(status)
	}
	held, err := s.Held()
	if err != nil || len(held) != 1 || held[0].Reason != "no report" || held[0].Bytes != 9 {
		t.Fatalf("%+v, %v", held, err)
	}
	return s, held[0].Name, readable
}

// TestWhatCanBeReadNowWaits: an object of the quarantine is looked at again, and waits
// once it can be read, with nothing left beside its place; no name leads out of the
// quarantine.
func TestWhatCanBeReadNowWaits(t *testing.T) {
	s, name, readable := quarantined(t)
	if err := os.WriteFile(filepath.Join(s.Quarantine(), "other.txt"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if taken, err := s.Again(name); taken || err != nil {
		t.Errorf("%v, %v", taken, err)
	}
	for _, other := range []string{"", "..", "../" + name, "../quarantine/" + name, "other.txt", "/etc/passwd"} {
		if _, err := s.Again(other); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%q: %v", other, err)
		}
	}
	*readable = true
	if taken, err := s.Again(name); !taken || err != nil {
		t.Fatalf("%v, %v", taken, err)
	}
	if left, err := os.ReadDir(s.Quarantine()); err != nil || len(left) != 1 {
		t.Errorf("left: %v, %v", left, err)
	}
	if l, err := s.Load(); err != nil || l.Studies != 1 || l.Objects != 1 || l.Oldest.IsZero() {
		t.Errorf("%+v, %v", l, err)
	}
}

// TestWhatIsNotWhatCameStays in the quarantine, however readable it is now, with the
// reason: cut, changed at the same length, or without the check sum it came with.
func TestWhatIsNotWhatCameStays(t *testing.T) {
	for what, change := range map[string]struct {
		file, text, reason string
	}{
		"cut":      {".dcm", "what", "the file has changed since it arrived: its check sum is different"},
		"longer":   {".dcm", "what came and more", "the file has changed since it arrived: its check sum is different"},
		"changed":  {".dcm", "what game", "the file has changed since it arrived: its check sum is different"},
		"unproven": {".sha256", "", "its check sum on arrival is missing: it cannot be told whether the file is still the same"},
	} {
		t.Run(what, func(t *testing.T) {
			s, name, readable := quarantined(t)
			*readable = true
			file := filepath.Join(s.Quarantine(), name[:len(name)-len(".dcm")]+change.file)
			err := os.WriteFile(file, []byte(change.text), 0o600)
			if change.text == "" {
				err = os.Remove(file)
			}
			if err != nil {
				t.Fatal(err)
			}
			if taken, err := s.Again(name); taken || err != nil {
				t.Errorf("%v, %v", taken, err)
			}
			if held, err := s.Held(); err != nil || len(held) != 1 || held[0].Reason != change.reason {
				t.Errorf("%+v, %v", held, err)
			}
			if l, err := s.Load(); err != nil || l.Objects != 0 {
				t.Errorf("waits: %+v, %v", l, err)
			}
		})
	}
}

// TestTheCheckSumIsThatOfSha256sum: who looks after the spool can check it by hand.
func TestTheCheckSumIsThatOfSha256sum(t *testing.T) {
	if _, err := exec.LookPath("sha256sum"); err != nil {
		t.Skip("sha256sum is not installed: the check sum was not compared with another program's")
	}
	s, name, _ := quarantined(t)
	check := exec.Command("sha256sum", "--check", "--strict", name[:len(name)-len(".dcm")]+".sha256")
	check.Dir = s.Quarantine()
	if out, err := check.CombinedOutput(); err != nil || string(out) != name+": OK\n" {
		t.Errorf("%s, %v", out, err)
	}
}

// TestASpoolHasOneOfEachReceiver, and one that records; another receiver may come to it.
func TestASpoolHasOneOfEachReceiver(t *testing.T) {
	dir := t.TempDir()
	of := func() *spool.Spool { return &spool.Spool{Dir: dir} }
	first, second, fetch := of(), of(), of()
	if err := errors.Join(first.Make("serve"), first.Record(), fetch.Make("fetch")); err != nil {
		t.Fatal(err)
	}
	in := first.Begin(10) // half, as it arrives
	if err := second.Make("serve"); !errors.Is(err, disk.ErrInUse) {
		t.Errorf("a second serve: %v", err)
	}
	if half, err := filepath.Glob(filepath.Join(dir, ".arriving", "serve", "*")); err != nil || len(half) != 1 {
		t.Errorf("what arrives at the first: %v, %v", half, err)
	}
	in.Drop()
	if err := fetch.Record(); !errors.Is(err, disk.ErrInUse) {
		t.Errorf("a second that records: %v", err)
	}
	if err := errors.Join(first.Close(), second.Make("serve"), second.Record(), second.Close(), fetch.Close()); err != nil {
		t.Errorf("after the first ended: %v", err)
	}
}
