package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"echotally/internal/dcm"
	"echotally/internal/demo/casebook"
)

// yearMade is the demo lab's year and a ledger of it, made once for all tests: they read
// the lab, and get each a copy of the ledger.
var yearMade struct {
	sync.Once
	dir string // which TestMain removes
	err error
}

// yearAt is the time at which the year is recorded and looked at.
const yearAt = "1794787200"

// copyYear copies the ledger of the year and its key into a folder, and tells where the
// lab is.
func copyYear(into string) (lab string, err error) {
	yearMade.Do(func() {
		if yearMade.dir, yearMade.err = os.MkdirTemp("", "recorded-year"); yearMade.err != nil {
			return
		}
		epoch := os.Getenv("SOURCE_DATE_EPOCH")
		os.Setenv("SOURCE_DATE_EPOCH", yearAt)
		defer os.Setenv("SOURCE_DATE_EPOCH", epoch)
		in := func(name string) string { return filepath.Join(yearMade.dir, name) }
		for _, line := range [][]string{
			{"demo", in("lab"), "--year", "--studies", "5"},
			{"intake", in("lab"), "--quiet", "--store", in("lab.db"), "--key", in("key")},
		} {
			if text, code := perform(line...); code != exitComplete {
				yearMade.err = fmt.Errorf("%v: exit code %d\n%s", line, code, text)
				return
			}
		}
	})
	if yearMade.err != nil {
		return "", yearMade.err
	}
	for _, name := range []string{"lab.db", "key"} {
		content, err := os.ReadFile(filepath.Join(yearMade.dir, name))
		if err != nil {
			return "", err
		}
		if err := os.WriteFile(filepath.Join(into, name), content, 0o600); err != nil {
			return "", err
		}
	}
	return filepath.Join(yearMade.dir, "lab"), nil
}

// recordedYear is the demo lab's year in a ledger of the test.
func recordedYear(t *testing.T) (lab string, ledger []string) {
	t.Helper()
	t.Setenv("SOURCE_DATE_EPOCH", yearAt)
	dir := t.TempDir()
	lab, err := copyYear(dir)
	if err != nil {
		t.Fatal(err)
	}
	return lab, []string{"--store", filepath.Join(dir, "lab.db"), "--key", filepath.Join(dir, "key")}
}

func output(t *testing.T, line ...string) string {
	t.Helper()
	text, code := perform(line...)
	if code != exitComplete {
		t.Fatalf("%v: exit code %d\n%s", line, code, text)
	}
	return text
}

// demoStudy writes one study of the demo lab.
func demoStudy(name, into string) error {
	for _, c := range casebook.Studies(casebook.Options{Seed: 1}) {
		if filepath.Base(c.Truth.Folder) != name {
			continue
		}
		dir := filepath.Join(into, name)
		if err := os.MkdirAll(dir, 0o755); err != nil {
			return err
		}
		for _, o := range c.Objects {
			content, err := o.Bytes()
			if err = errors.Join(err, os.WriteFile(filepath.Join(dir, o.Name), content, 0o644)); err != nil {
				return err
			}
		}
		return nil
	}
	return fmt.Errorf("the demo lab has no study %s", name)
}

// secondReports writes the reports below a folder as second readers would have them: each
// under a SOP Instance UID of its own, into one folder.
func secondReports(from, into string) error {
	if err := os.MkdirAll(into, 0o755); err != nil {
		return err
	}
	return filepath.WalkDir(from, func(path string, entry os.DirEntry, err error) error {
		if err != nil || entry.Name() != "report.dcm" {
			return err
		}
		content, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		file, err := dcm.ReadBytes(content)
		if err != nil {
			return err
		}
		uid := file.Identity().SOPInstanceUID
		last := len(uid) - 1
		own := uid[:last] + string('0'+(uid[last]-'0'+1)%10)
		return os.WriteFile(filepath.Join(into, uid+".dcm"), bytes.ReplaceAll(content, []byte(uid), []byte(own)), 0o644)
	})
}

// secondReadings are second readers' reports of the lab's studies, in a folder of the test.
func secondReadings(t *testing.T, lab string) string {
	t.Helper()
	dir := t.TempDir()
	if err := secondReports(lab, dir); err != nil {
		t.Fatal(err)
	}
	return dir
}
