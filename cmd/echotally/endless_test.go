//go:build linux

package main

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// A pipe that nobody writes to and a device that never ends are refused at once
// wherever a file is configuration, a list, a key or a ledger.
func TestPipesAndDevicesAreRefused(t *testing.T) {
	dir := t.TempDir()
	fifo, zero := filepath.Join(dir, "pipe"), filepath.Join(dir, "zero")
	if err := syscall.Mkfifo(fifo, 0o600); err != nil {
		t.Skip("no named pipes here: ", err)
	}
	if err := os.Symlink("/dev/zero", zero); err != nil {
		t.Fatal(err)
	}
	lab := manyStudies(t)
	ledger, key := filepath.Join(dir, "lab.db"), filepath.Join(dir, "key")
	if output, code := perform("intake", filepath.Join(lab, "1.dcm"), "--store", ledger, "--key", key); code != exitComplete {
		t.Fatal(output)
	}
	whole := []string{"--store", ledger, "--key", key}
	for _, endless := range []string{fifo, zero} {
		lines := [][]string{
			append([]string{"audit", "--month", "2026-03", "--out", filepath.Join(dir, "out"), "--settings", endless}, whole...),
			{"audit", "--month", "2026-03", "--out", filepath.Join(dir, "out"), "--store", endless, "--key", key},
			append([]string{"intake", "--labs", endless}, whole...), append([]string{"intake", "--roster", endless}, whole...), append([]string{"intake", "--signoff", endless}, whole...),
			{"intake", lab, "--store", endless, "--key", key}, {"intake", lab, "--store", filepath.Join(dir, "new.db"), "--key", endless},
			{"ledger", "stats", "--store", endless}, {"ledger", "verify", "--store", endless}, {"ledger", "verify", "--store", ledger, "--key", endless},
			{"ledger", "restore", endless, "--store", ledger}, {"ledger", "backup", endless, "--store", ledger}, {"ledger", "purge", "--before", "2020-01-01", "--store", endless},
			{"waive", "list", "--store", endless}, {"action", "list", "--store", endless}, {"action", "import", endless, "--store", ledger},
			{"rules", "lint", endless}, {"rules", "diff", endless, "shipped"}, {"check", lab, "--rules", endless},
		}
		for _, at := range []string{"tricuspid-valve/one.yaml", "measurand/one.yaml", "protocol/one.yaml", "phrases/en.yaml", "terms.yaml", "sources.yaml"} {
			site := t.TempDir()
			if err := os.MkdirAll(filepath.Dir(filepath.Join(site, at)), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.Symlink(endless, filepath.Join(site, at)); err != nil {
				t.Fatal(err)
			}
			lines = append(lines, []string{"rules", "lint", site})
			if endless == fifo {
				lines = append(lines, []string{"check", lab, "--rules", site})
			} else {
				lines = append(lines, []string{"rules", "list", "--rules", site})
			}
		}
		for _, line := range lines {
			type end struct {
				output string
				code   int
			}
			ended := make(chan end, 1)
			go func() {
				output, code := perform(line...)
				ended <- end{output, code}
			}()
			select {
			case e := <-ended:
				if e.code != exitUsage && e.code != exitFailure || len(e.output) > 2000 {
					t.Errorf("echotally %s: exit code %d\n%.2000s", strings.Join(line, " "), e.code, e.output)
				}
			case <-time.After(2 * time.Minute): // for ever, were it not for this
				t.Fatalf("echotally %s: does not end", strings.Join(line, " "))
			}
		}
	}
}
