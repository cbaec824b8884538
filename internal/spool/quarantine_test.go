package spool

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
)

// TestWhatCanBeReadNowWaits: an object of the quarantine is looked at again, and waits
// once it can be read; no name leads out of the quarantine.
func TestWhatCanBeReadNowWaits(t *testing.T) {
	readable := false
	s := &Spool{Dir: t.TempDir(), Check: func(string) (Identity, Status, error) {
		if readable {
			return Identity{Study: "2.25.7"}, Success, nil
		}
		return Identity{}, CannotUnderstand, errors.New("no report")
	}}
	if err := s.Make("test"); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{"a.dcm": "x", "a.reason": "cut off\n", "other.txt": "x"} {
		if err := os.WriteFile(filepath.Join(s.Quarantine(), name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	held, err := s.Held()
	if err != nil || len(held) != 1 || held[0].Name != "a.dcm" || held[0].Reason != "cut off" {
		t.Fatalf("%+v, %v", held, err)
	}
	if taken, err := s.Again("a.dcm"); taken || err != nil {
		t.Errorf("%v, %v", taken, err)
	}
	if held, _ = s.Held(); held[0].Reason != "no report" {
		t.Errorf("%+v", held)
	}
	for _, name := range []string{"", "..", "../a.dcm", "../quarantine/a.dcm", "other.txt", "/etc/passwd"} {
		if _, err := s.Again(name); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%q: %v", name, err)
		}
	}
	readable = true
	if taken, err := s.Again("a.dcm"); !taken || err != nil {
		t.Fatalf("%v, %v", taken, err)
	}
	if held, _ = s.Held(); len(held) > 0 {
		t.Errorf("%+v", held)
	}
	if l, err := s.Load(); err != nil || l.Studies != 1 || l.Objects != 1 || l.Oldest.IsZero() {
		t.Errorf("%+v, %v", l, err)
	}
}
