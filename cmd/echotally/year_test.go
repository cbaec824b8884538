package main

import (
	"os"
	"path/filepath"
	"sync"
	"testing"
)

// yearMade is the demo lab's year and a ledger of it, made once for all tests: they read
// the lab, and get each a copy of the ledger.
var yearMade struct {
	sync.Once
	dir string
}

// recordedYear is the demo lab's year in a ledger of the test.
func recordedYear(t *testing.T) (lab string, ledger []string) {
	t.Helper()
	t.Setenv("SOURCE_DATE_EPOCH", "1794787200")
	yearMade.Do(func() {
		made, err := os.MkdirTemp("", "recorded-year")
		if err != nil {
			t.Fatal(err)
		}
		yearMade.dir = made // which TestMain removes
		lab := filepath.Join(made, "lab")
		output(t, "demo", lab, "--year", "--studies", "4")
		output(t, "intake", lab, "--quiet", "--store", filepath.Join(made, "lab.db"), "--key", filepath.Join(made, "key"))
	})
	dir := t.TempDir()
	for _, name := range []string{"lab.db", "key"} {
		content, err := os.ReadFile(filepath.Join(yearMade.dir, name))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return filepath.Join(yearMade.dir, "lab"), []string{"--store", filepath.Join(dir, "lab.db"), "--key", filepath.Join(dir, "key")}
}

func output(t *testing.T, line ...string) string {
	t.Helper()
	text, code := perform(line...)
	if code != exitComplete {
		t.Fatalf("%v: exit code %d\n%s", line, code, text)
	}
	return text
}
