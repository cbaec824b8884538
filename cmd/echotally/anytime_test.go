//go:build unix

package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"echotally/internal/store"
	"echotally/internal/store/keyfile"
)

// A signal at any moment of a command: it ends, and what it was to write is there whole
// or not at all, and nothing else lies beside it. The plain run has one command of each
// kind: a set of files, one document, a new ledger, and a copy of one.
func TestSignalAtAnyMomentLeavesNothingHalf(t *testing.T) {
	if testing.Short() {
		t.Skip("left out by -short: each command is run again and again")
	}
	rounds, kinds := 2, []string{"audit", "check to a file", "intake", "ledger backup"}
	if *full {
		rounds = 8
	}
	lab, ledger := recordedYear(t)
	many := filepath.Join(t.TempDir(), "many")
	output(t, "demo", many, "--studies", "10")
	if *full {
		output(t, append([]string{"review", "draw", "--year", "2026", "--quota", "4", "--seed", "a"}, ledger...)...)
		output(t, append([]string{"review", "enter", "--report", secondReadings(t, lab), "--draw", "1", "--name", "Quill^Tom"}, ledger...)...)
	}
	backup := filepath.Join(t.TempDir(), "backup.db")
	output(t, "ledger", "backup", backup, "--store", ledger[1])
	period := []string{"--from", "2025-11-01", "--to", "2026-10-31", "--floor", "3"}
	inTime := 0
	for _, c := range []struct {
		name string
		args func(dir string) []string
	}{
		{"audit", func(dir string) []string {
			return slices.Concat([]string{"audit", "--out", filepath.Join(dir, "set")}, period, ledger)
		}},
		{"check to a file", func(dir string) []string {
			return []string{"check", many, "--fail-on", "never", "--format", "json", "--output", filepath.Join(dir, "sheet")}
		}},
		{"feedback", func(dir string) []string {
			return slices.Concat([]string{"feedback", "--name", "Marrow^Ines", "--format", "html", "--output", filepath.Join(dir, "sheet")}, period, ledger)
		}},
		{"review report", func(dir string) []string {
			return append([]string{"review", "report", "--draw", "1", "--out", filepath.Join(dir, "set")}, ledger...)
		}},
		{"demo", func(dir string) []string { return []string{"demo", filepath.Join(dir, "set"), "--studies", "12"} }},
		{"rules export", func(dir string) []string { return []string{"rules", "export", filepath.Join(dir, "set")} }},
		{"ledger backup", func(dir string) []string {
			return []string{"ledger", "backup", filepath.Join(dir, "copy.db"), "--store", ledger[1]}
		}},
		{"intake", func(dir string) []string {
			return []string{"intake", many, "--store", filepath.Join(dir, "lab.db"), "--key", ledger[3]}
		}},
		{"ledger restore", func(dir string) []string {
			return []string{"ledger", "restore", backup, "--store", filepath.Join(dir, "lab.db"), "--key", ledger[3]}
		}},
	} {
		if !*full && !slices.Contains(kinds, c.name) {
			continue
		}
		t.Run(c.name, func(t *testing.T) {
			whole := t.TempDir()
			began := time.Now()
			if code := signalled(t, c.args(whole), nil); code != exitComplete {
				t.Fatalf("without a signal it ends with %d", code)
			}
			takes, want := time.Since(began), contents(t, whole)
			interrupted := 0
			for i := range rounds {
				dir := t.TempDir()
				part := takes / time.Duration(rounds)
				wait := part*time.Duration(i) + rand.N(part+1)
				code := signalled(t, c.args(dir), &wait)
				got := contents(t, dir)
				switch {
				case code == exitComplete && got != want:
					t.Errorf("after %s of %s: whole, but %s is there, not %s", wait, takes, got, want)
				case code == exitInterrupted || code < 0: // before it hears of signals
					interrupted++
					holdsOrIsNotThere(t, filepath.Join(dir, "lab.db"), ledger[3])
					if got = strings.Join(strings.Fields(strings.NewReplacer("lab.db-wal", "", "lab.db-shm", "", "lab.db", "").Replace(got)), " "); got != "" && got != want {
						t.Errorf("after %s of %s: interrupted, and %s is left", wait, takes, got)
					}
				case code != exitComplete:
					t.Errorf("after %s of %s: exit code %d", wait, takes, code)
				}
			}
			t.Logf("%d of %d interrupted within %s", interrupted, rounds, takes)
			inTime += interrupted // which of them depends on the machine
		})
	}
	if inTime == 0 {
		t.Error("no signal came in time")
	}
}

// signalled runs the program, with a signal after some time, and gives its exit code,
// -1 when the signal itself ended it.
func signalled(t *testing.T, args []string, wait *time.Duration) int {
	t.Helper()
	program, err := exec.LookPath("echotally")
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(program, args...)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	if wait != nil {
		signal := []syscall.Signal{syscall.SIGINT, syscall.SIGTERM}[rand.IntN(2)]
		timer := time.AfterFunc(*wait, func() { _ = cmd.Process.Signal(signal) })
		defer timer.Stop()
	}
	_ = cmd.Wait()
	return cmd.ProcessState.ExitCode()
}

// contents are the names of all that is in a folder, and how large documents are.
func contents(t *testing.T, dir string) string {
	t.Helper()
	var out []string
	err := filepath.WalkDir(dir, func(path string, entry os.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		name, err := filepath.Rel(dir, path)
		out = append(out, name)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return strings.Join(out, " ")
}

// holdsOrIsNotThere verifies a ledger, with its key.
func holdsOrIsNotThere(t *testing.T, file, keyFile string) {
	t.Helper()
	if info, err := os.Stat(file); err != nil || info.Size() == 0 {
		return
	}
	key, err := keyfile.Read(keyFile)
	if err != nil {
		t.Fatal(err)
	}
	s, err := store.Open(context.Background(), file, store.Options{Key: key})
	if err != nil {
		t.Error(err)
		return
	}
	defer s.Close()
	if p, err := s.Verify(context.Background(), ""); err != nil || len(p.Faults) > 0 {
		t.Errorf("the ledger does not hold: %s, %v", fmt.Sprint(p), err)
	}
}
