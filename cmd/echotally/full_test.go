//go:build linux

package main

import (
	"bytes"
	"context"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"echotally/internal/dimse"
	"echotally/internal/spool"
)

// Whatever a command prints: when it does not reach its reader, that is said, with exit
// code 1. Every command is tried.
func TestAFullDeviceIsNoticedByEveryCommand(t *testing.T) {
	full, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
	if err != nil {
		t.Skip("no full device here: ", err)
	}
	defer full.Close()
	lab, ledger := recordedYear(t)
	dir := t.TempDir()
	in := func(name string) string { return filepath.Join(dir, name) }
	old := in("old.ndjson")
	if err := os.WriteFile(old, []byte(`{"at":"2026-06-01T08:00:00Z","number":9,"event":"add","title":"a","cause":"b","owner":"c","measure":"rule:right-ventricle/tapse-present","started":"2026-06-01","due":"2026-09-01"}`+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	config := in("serve.yaml")
	if err := os.WriteFile(config, []byte("dicom: {listen: \"127.0.0.1:0\"}\nspool: "+in("spool")+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	present := in("present.csv")
	if err := os.WriteFile(present, []byte("name,took part\nMarrow^Ines,present\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	var one string
	err = filepath.WalkDir(lab, func(path string, entry os.DirEntry, err error) error {
		if one == "" && entry.Name() == "report.dcm" {
			one = path
		}
		return err
	})
	if one == "" || err != nil {
		t.Fatalf("no report, %v", err)
	}
	_, after, _ := strings.Cut(output(t, append([]string{"intake", one}, ledger...)...), "\t2.25.")
	uid := "2.25." + strings.TrimSpace(strings.FieldsFunc(after, func(r rune) bool { return r == '\t' || r == '\n' })[0])
	store := ledger[:2]
	lines := []struct {
		command string
		args    []string
	}{
		{"", nil}, {"action", nil}, {"ledger", nil}, {"meeting", nil}, {"review", nil}, {"rules", nil}, {"formats", nil}, {"version", nil},
		{"read", []string{one}}, {"check", []string{one, "--fail-on", "never"}}, {"codes", []string{one}}, {"dump", []string{one}}, {"measurands", []string{"tapse"}}, {"demo", []string{in("demo"), "--studies", "2"}},
		{"rules catalogue", nil}, {"rules diff", []string{"shipped", in("export")}}, {"rules formulas", nil}, {"rules lint", nil}, {"rules list", nil},
		{"rules show", []string{"right-ventricle/tapse-present"}}, {"rules test", []string{"right-ventricle/tapse-present"}}, {"rules new", []string{"left-atrium/new", "--dir", in("new")}},
		{"intake", append([]string{lab}, ledger...)},
		{"action add", append([]string{"--title", "a", "--cause", "b", "--owner", "lead", "--measure", "rule:right-ventricle/tapse-present", "--started", "2026-06-01", "--due", "2026-09-01"}, store...)},
		{"action update", append([]string{"1", "--due", "2026-12-01"}, store...)}, {"action close", append([]string{"1", "--result", "seen"}, store...)}, {"action list", store},
		{"action import", []string{old, "--store", in("other.db")}},
		{"waive", append([]string{uid, "document/kind-of-study-declared", "--reason", "no-signal", "--by", "reader", "--force"}, ledger...)},
		{"waive list", store}, {"waive withdraw", append([]string{"1", "--by", "reader"}, ledger...)},
		{"review size", []string{"--share", "0.9", "--margin", "0.05", "--population", "250"}},
		{"review draw", append([]string{"--year", "2026", "--quota", "4", "--seed", "a"}, ledger...)}, {"review list", store}, {"review sheet", append([]string{"1", "--out", in("sheet")}, store...)},
		{"review enter", append([]string{"--report", secondReadings(t, lab), "--draw", "1", "--name", "Quill^Tom"}, ledger...)}, {"review report", append([]string{"--draw", "1", "--out", in("agreement")}, ledger...)},
		{"audit", append([]string{"--from", "2025-11-01", "--to", "2026-10-31", "--floor", "3", "--out", in("audit")}, ledger...)},
		{"feedback", append([]string{"--name", "Marrow^Ines", "--from", "2025-11-01", "--to", "2026-10-31", "--floor", "3"}, ledger...)},
		{"binder", append([]string{"--set", "lab-minimum", "--year", "2026", "--out", in("binder")}, ledger...)}, {"binder sets", nil},
		{"binder attach", append([]string{"signed", "--set", "lab-minimum", "--file", old, "--by", "quality-manager"}, store...)}, {"binder attached", store},
		{"cases", append([]string{"aortic-stenosis", "--year", "2026"}, ledger...)}, {"deidentify", []string{one, "--out", in("copies")}},
		{"conformance", nil}, {"export", nil}, {"export dicom", []string{one, "--findings", "--to", in("handback")}}, {"export echo", []string{"ARCHIVE@" + answers(t)}},
		{"export fhir", append([]string{"--from", "2025-11-01", "--to", "2026-10-31"}, ledger...)},
		{"meeting pack", append([]string{"--quarter", "2026-Q3", "--out", in("meeting")}, ledger...)},
		{"meeting record", append([]string{"--date", "2026-09-12", "--title", "a", "--attendance", present}, ledger...)}, {"meeting list", store},
		{"meeting withdraw", append([]string{"1", "--by", "quality-manager"}, store...)}, {"review withdraw", append([]string{"1", "--by", "quality-manager"}, store...)},
		{"review undraw", append([]string{"1", "--by", "quality-manager"}, store...)}, {"binder withdraw", append([]string{"1", "--by", "quality-manager"}, store...)},
		{"serve", append([]string{"--config", config}, ledger...)}, {"serve check", nil},
		{"fetch", []string{"--dicomweb", emptyArchive(t), "--from", "2026-10-01", "--to", "2026-10-01", "--spool", in("fetched")}},
		{"ledger stats", store}, {"ledger verify", ledger}, {"ledger backup", append([]string{in("copy.db")}, store...)}, {"ledger restore", append([]string{in("copy.db")}, ledger...)},
		{"ledger purge", append([]string{"--before", "2025-12-01"}, ledger...)},
		{"rules export", []string{in("export2")}},
	}
	if output, code := perform("rules", "export", in("export")); code != exitComplete {
		t.Fatal(output)
	}
	var tried []string
	for _, line := range lines {
		command := strings.TrimSpace("echotally " + line.command)
		tried = append(tried, command)
		var stderr bytes.Buffer
		code := performTo(full, &stderr, append(strings.Fields(line.command), line.args...))
		if code != exitFailure || !strings.Contains(stderr.String(), "standard output: ") {
			t.Errorf("%s: exit code %d\n%.600s", command, code, stderr.String())
		}
	}
	for _, command := range commands(newRootCommand(testApp())) {
		if !slices.Contains(tried, command) {
			t.Errorf("%s is not tried; add a line", command)
		}
	}
}

// The set of an audit, of a review and of worksheets is there whole or not at all, also
// when the disk is full after any part of it.
func TestAFullDiskLeavesNoHalfSet(t *testing.T) {
	lab, ledger := recordedYear(t)
	output(t, append([]string{"review", "draw", "--year", "2026", "--quota", "4", "--seed", "a"}, ledger...)...)
	output(t, append([]string{"review", "enter", "--report", secondReadings(t, lab), "--draw", "1", "--name", "Quill^Tom"}, ledger...)...)
	for _, command := range [][]string{
		append([]string{"audit", "--from", "2025-11-01", "--to", "2026-10-31", "--floor", "3"}, ledger...),
		append([]string{"review", "report", "--draw", "1"}, ledger...), append([]string{"review", "sheet", "1"}, ledger[:2]...),
		append([]string{"binder", "--set", "lab-minimum", "--year", "2026"}, ledger...), append([]string{"meeting", "pack", "--quarter", "2026-Q3"}, ledger...), {"demo", "--studies", "2"}, {"rules", "export"},
	} {
		t.Run(strings.Join(command[:2], " "), func(t *testing.T) {
			into := func(dir string) []string {
				if command[0] == "demo" || command[0] == "rules" {
					return append(slices.Clone(command), dir)
				}
				return append(slices.Clone(command), "--out", dir)
			}
			whole := filepath.Join(t.TempDir(), "whole")
			output(t, into(whole)...)
			var bytes int64
			err := filepath.WalkDir(whole, func(_ string, entry os.DirEntry, err error) error {
				if info, failed := entry.Info(); failed == nil {
					bytes += (info.Size() + 4095) &^ 4095
				}
				return err
			})
			if err != nil {
				t.Fatal(err)
			}
			refused, parts := 0, int64(2)
			if *full {
				parts = 8
			}
			for part := range parts {
				disk := filepath.Join(t.TempDir(), "disk")
				mountTmpfs(t, disk, fmt.Sprintf("size=%d", 8192+bytes*part/parts))
				set := filepath.Join(disk, "set")
				text, code := perform(into(set)...)
				_, err := os.Stat(set)
				left, _ := os.ReadDir(disk)
				if code == exitComplete {
					continue // a tmpfs counts in pages: the last part may suffice
				}
				refused++
				if code != exitFailure || !strings.Contains(text, "no space left") || err == nil || len(left) > 0 {
					t.Errorf("with room for %d of %d parts: exit code %d, %d entries left (%v)\n%s", part, parts, code, len(left), err, text)
				}
			}
			if 8*int64(refused) < 5*parts {
				t.Errorf("only %d of %d disks were too small", refused, parts)
			}
		})
	}
}

// A document takes the place of an earlier one only when it is whole.
func TestAFullDiskLeavesTheEarlierFile(t *testing.T) {
	lab := manyStudies(t)
	disk := filepath.Join(t.TempDir(), "disk")
	mountTmpfs(t, disk, "size=65536")
	for _, format := range []string{"text", "json", "ndjson", "csv", "html"} {
		kept := filepath.Join(disk, "kept")
		if err := os.WriteFile(kept, []byte("earlier"), 0o600); err != nil {
			t.Fatal(err)
		}
		text, code := perform("check", lab, "--format", format, "--all", "--output", kept, "--force")
		entries, err := os.ReadDir(disk)
		if content, _ := os.ReadFile(kept); code != exitFailure || !strings.Contains(text, "no space left") || string(content) != "earlier" || len(entries) != 1 || err != nil {
			t.Errorf("%s: exit code %d, %d bytes, %d entries, %v\n%s", format, code, len(content), len(entries), err, text)
		}
	}
}

// mountTmpfs mounts a small file system in memory, or skips the test: that needs root.
func mountTmpfs(t *testing.T, dir, options string) {
	t.Helper()
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, options); err != nil {
		t.Skipf("no file system can be mounted here (%v): this check needs root", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil {
			t.Errorf("unmount: %v", err)
		}
	})
}

// answers is the address of a DICOM server that answers, until the test ends.
func answers(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	in := &spool.Spool{Dir: t.TempDir()}
	s := &dimse.Server{Spool: in, Storage: func(string) bool { return false }, Log: zerolog.Nop(), Idle: time.Second, Opening: time.Second, Associations: 4}
	ctx, stop := context.WithCancel(context.Background())
	var wait sync.WaitGroup
	wait.Go(func() { _ = s.Serve(ctx, l) })
	t.Cleanup(func() { stop(); wait.Wait() })
	return l.Addr().String()
}
