package main

import (
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"echotally/internal/desk"
	"echotally/internal/library"
	"echotally/internal/rule"
)

// TestRulesAreRenewedWhileServing: what the lab adds is in force without a new start,
// and a fault leaves in force what was.
func TestRulesAreRenewedWhileServing(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) {
		if err := os.MkdirAll(filepath.Join(dir, filepath.Dir(name)), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	change := "identifier: right-ventricle/tapse-present\nderivedFrom: \"right-ventricle/tapse-present@2.1.0\"\napprovalDate: \"2026-11-30\"\nreviewer: quality-manager\nseverity: error\n"
	write("measurand/ours.yaml", "# nothing yet\n")
	a := newApp(strings.NewReader(""), io.Discard, io.Discard)
	a.ruleFolders, a.edition = []string{dir}, rule.DefaultEdition
	set, err := a.ruleSet(library.Settings{})
	if err != nil {
		t.Fatal(err)
	}
	r := &rulesInForce{app: a, work: desk.NewInForce(&desk.Desk{Library: set, SoftwareVersion: "test", Now: time.Now, Log: zerolog.Nop()})}
	begun := r.work.Desk()
	if err := r.renew(); err != nil || r.work.Desk() != begun {
		t.Fatalf("what is the same was renewed, or %v", err)
	}
	write("right-ventricle/tapse-present.yaml", change)
	if err := r.renew(); err != nil || r.work.Desk().Library.Digest == set.Digest || r.shown().Own != 2 || r.work.Desk().SoftwareVersion != "test" {
		t.Fatalf("not renewed: %v, %+v", err, r.shown())
	}
	if begun.Library != set {
		t.Error("work that was begun goes on by other rules")
	}
	after := r.work.Desk()
	write("right-ventricle/tapse-present.yaml", strings.Replace(change, "error", "grave", 1))
	if err := r.renew(); err == nil || r.work.Desk() != after || !strings.Contains(r.shown().Fault, "tapse-present.yaml") {
		t.Errorf("by a fault: %v, shown %+v", err, r.shown())
	}
	write("right-ventricle/tapse-present.yaml", change)
	if err := r.renew(); err != nil || r.shown().Fault != "" || r.work.Desk() != after {
		t.Errorf("after the fault: %v, shown %+v", err, r.shown())
	}
}
