package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"echotally/internal/desk"
	"echotally/internal/library"
	"echotally/internal/library/draft"
	"echotally/internal/rule"
)

// graver is a lab's change of a rule to an error, of the version that is shipped.
func graver(t *testing.T, set *library.Library) string {
	t.Helper()
	const name = "right-ventricle/tapse-present"
	for _, r := range set.Rules {
		if r.File.Identifier == name {
			return fmt.Sprintf("identifier: %s\nderivedFrom: \"%s@%s\"\napprovalDate: \"2026-11-30\"\nreviewer: quality-manager\nseverity: error\n", name, name, r.File.Version)
		}
	}
	t.Fatal("no rule " + name)
	return ""
}

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
	write("measurand/ours.yaml", "# nothing yet\n")
	a := newApp(strings.NewReader(""), io.Discard, io.Discard)
	a.ruleFolders, a.edition = []string{dir}, rule.DefaultEdition
	set, err := a.ruleSet(library.Settings{})
	if err != nil {
		t.Fatal(err)
	}
	r := &rulesInForce{app: a, work: desk.NewInForce(&desk.Desk{Library: set, SoftwareVersion: "test", Now: time.Now, Log: zerolog.Nop()})}
	begun, change := r.work.Desk(), graver(t, set)
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

// TestServeBeginsWithoutChanges: a folder in which nothing lies yet is served, and holds
// the first that is adopted; one with other files, or none at all, is a slip, and so is an
// empty one with a command that only reads.
func TestServeBeginsWithoutChanges(t *testing.T) {
	dir := t.TempDir()
	ours, config := filepath.Join(dir, "our-lab"), filepath.Join(dir, "serve.yaml")
	if err := os.WriteFile(config, []byte("spool: "+filepath.Join(dir, "spool")+"\ndicom: {listen: \"127.0.0.1:0\"}\nweb: {listen: \"\"}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	args := []string{"serve", "--config", config, "--store", filepath.Join(dir, "lab.db"), "--key", filepath.Join(dir, "key"), "--rules", ours}
	if out, code := perform(args...); code != exitUsage || !strings.Contains(out, "not a folder") {
		t.Errorf("no folder: exit code %d, %s", code, out)
	}
	if err := os.MkdirAll(filepath.Join(ours, "right-ventricle"), 0o700); err != nil {
		t.Fatal(err)
	}
	if out, code := perform("check", dir, "--rules", ours); code != exitUsage || !strings.Contains(out, "no rule file") {
		t.Errorf("check by an empty folder: exit code %d, %s", code, out)
	}
	p := begin(t, args...)
	p.listening(t, "DICOM")
	p.end(t)

	a := newApp(strings.NewReader(""), io.Discard, io.Discard)
	a.ruleFolders, a.mayBeEmpty, a.edition = []string{ours}, true, rule.DefaultEdition
	set, err := a.ruleSet(library.Settings{})
	if err != nil || len(set.Own) != 0 {
		t.Fatalf("%d files are the lab's own, %v", len(set.Own), err)
	}
	r := &rulesInForce{app: a, work: desk.NewInForce(&desk.Desk{Library: set, SoftwareVersion: "test", Now: time.Now, Log: zerolog.Nop()})}
	first := draft.Draft{Name: "right-ventricle/tapse-present.yaml", Text: graver(t, set)}
	if err := errors.Join(first.Keep(ours), r.renew()); err != nil || r.shown().Own != 1 || r.work.Desk().Library.Digest == set.Digest {
		t.Errorf("the first that was adopted is not in force: %v, %+v", err, r.shown())
	}
	if err := errors.Join(os.Remove(filepath.Join(ours, first.Name)), r.renew()); err != nil || r.work.Desk().Library.Digest != set.Digest {
		t.Errorf("taken away again: %v, %+v", err, r.shown())
	}

	if err := os.WriteFile(filepath.Join(ours, "letter.txt"), []byte("nothing of rules\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := a.ruleSet(library.Settings{}); err == nil || !strings.Contains(err.Error(), "no rule file") {
		t.Errorf("a folder of something else: %v", err)
	}
}
