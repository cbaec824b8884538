package main

import (
	"context"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/dimse"
	"echotally/internal/spool"
	"echotally/internal/srtest"
)

// markedReport writes the report that names people.
func markedReport(t *testing.T) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "study")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	content := dcmtest.Encode(srtest.Report(t, marked), dcmtest.Encoding{})
	if err := os.WriteFile(filepath.Join(dir, "report.dcm"), content, 0o600); err != nil {
		t.Fatal(err)
	}
	return dir
}

// TestObjectsAreSent: what export sends arrives at another DICOM server whole, each kind
// once; what is printed names nobody.
func TestObjectsAreSent(t *testing.T) {
	dir := t.TempDir()
	in := &spool.Spool{Dir: dir, Check: func(path string) (spool.Identity, spool.Status, error) {
		f, err := os.Open(path)
		if err != nil {
			return spool.Identity{}, spool.OutOfResources, err
		}
		defer f.Close()
		info, err := f.Stat()
		if err != nil {
			return spool.Identity{}, spool.OutOfResources, err
		}
		is, err := dcm.Identify(f, info.Size())
		return spool.Identity{Study: is.StudyInstanceUID, Class: is.SOPClassUID, Instance: is.SOPInstanceUID}, spool.Success, err
	}}
	if err := in.Make("test"); err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := &dimse.Server{Title: "ARCHIVE", Spool: in, Storage: func(string) bool { return true }, Log: zerolog.Nop(), Idle: 5 * time.Second, Opening: 5 * time.Second, Associations: 4, MostBytes: 1 << 24}
	ctx, stop := context.WithCancel(t.Context())
	var wait sync.WaitGroup
	wait.Go(func() { _ = s.Serve(ctx, l) })
	defer wait.Wait()
	defer stop()
	peer := "ARCHIVE@" + l.Addr().String()
	if text, code := perform("export", "echo", peer); code != exitComplete || !strings.Contains(text, "answers") {
		t.Errorf("exit code %d\n%s", code, text)
	}
	text, code := perform("export", "dicom", markedReport(t), "--findings", "--gap-sheet", "--quality-issue", "--peer-review", "--send", peer, "--log-level", "debug")
	if code != exitComplete || strings.Count(text, ": stored\n") != 4 {
		t.Errorf("exit code %d\n%s", code, text)
	}
	if upper := strings.ToUpper(text); strings.Contains(upper, "MARKER") {
		t.Errorf("somebody is named:\n%s", text)
	}
	files := 0
	err = filepath.WalkDir(dir, func(path string, entry os.DirEntry, err error) error {
		if err == nil && strings.HasSuffix(path, ".dcm") {
			files++
		}
		return err
	})
	if err != nil || files != 4 {
		t.Errorf("%d files arrived, %v", files, err)
	}
	if text, code := perform("export", "dicom", markedReport(t), "--findings", "--send", "OTHER@"+l.Addr().String()); code != exitFailure || !strings.Contains(text, "called AE title") {
		t.Errorf("exit code %d\n%s", code, text)
	}
}

// TestObjectsArePosted: a service that refuses one object makes the command fail and is
// named with the object; the token is in no output.
func TestObjectsArePosted(t *testing.T) {
	token := filepath.Join(t.TempDir(), "token")
	if err := os.WriteFile(token, []byte("very-secret\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	asked := 0
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked++
		if r.Header.Get("Authorization") != "Bearer very-secret" {
			w.WriteHeader(http.StatusUnauthorized)
			return
		}
		if asked > 1 {
			w.WriteHeader(http.StatusConflict)
		}
	}))
	defer server.Close()
	study := markedReport(t)
	for i, want := range []int{exitComplete, exitFailure} {
		text, code := perform("export", "dicom", study, "--findings", "--stow", server.URL, "--token", token)
		if code != want || strings.Contains(text, "very-secret") || asked != i+1 {
			t.Errorf("exit code %d\n%s", code, text)
		}
	}
	if text, code := perform("export", "dicom", study, "--findings", "--stow", server.URL); code != exitFailure || !strings.Contains(text, "does not allow us to store") {
		t.Errorf("without a token: exit code %d\n%s", code, text)
	}
}

// TestTheGapSheetComesOutOfTheArchive: dcm2pdf of DCMTK takes out a PDF on which poppler
// reads the sheet; it names the patient only when asked to, and nobody else.
func TestTheGapSheetComesOutOfTheArchive(t *testing.T) {
	for _, program := range []string{"dcm2pdf", "pdftotext"} {
		if _, err := exec.LookPath(program); err != nil {
			t.Skipf("%s is not installed: no other program took the sheet out", program)
		}
	}
	study := markedReport(t)
	for _, identify := range []bool{false, true} {
		out := filepath.Join(t.TempDir(), "out")
		args := []string{"export", "dicom", study, "--gap-sheet", "--to", out}
		if identify {
			args = append(args, "--identify")
		}
		if text, code := perform(args...); code != exitComplete {
			t.Fatalf("exit code %d\n%s", code, text)
		}
		pdf := filepath.Join(out, "sheet.pdf")
		if text, err := exec.Command("dcm2pdf", filepath.Join(out, "gap-sheet.dcm"), pdf).CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, text)
		}
		text, err := exec.Command("pdftotext", "-layout", pdf, "-").Output()
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range []string{"TAKE NOW, BY SCANNING WINDOW", "CONTRADICTIONS", "Quality-audit aid, not a diagnosis", "page 1 of"} {
			if !strings.Contains(string(text), want) {
				t.Errorf("no %q on the sheet\n%s", want, text)
			}
		}
		upper := strings.ToUpper(string(text))
		if named := strings.Contains(upper, "MARKERSON"); named != identify {
			t.Errorf("the patient is named: %v, asked for: %v", named, identify)
		}
		for _, other := range []string{"MARKERREFERRER", "MARKEROPERATOR", "MARKERREADER", "MARKEROBSERVER"} {
			if strings.Contains(upper, other) {
				t.Errorf("%s is named", other)
			}
		}
	}
}

// TestFHIRNamesNobody: markers of a report that names people wherever a report can are in
// no bundle of its study nor of its month, and the study is in none of the month.
func TestFHIRNamesNobody(t *testing.T) {
	dir := t.TempDir()
	ledger := []string{"--store", filepath.Join(dir, "lab.db"), "--key", filepath.Join(dir, "key")}
	study := markedReport(t)
	if text, code := perform(append([]string{"intake", study}, ledger...)...); code != exitComplete && code != exitIncomplete {
		t.Fatalf("exit code %d\n%s", code, text)
	}
	f, err := os.ReadFile(filepath.Join(study, "report.dcm"))
	if err != nil {
		t.Fatal(err)
	}
	is, err := dcm.ReadBytes(f)
	if err != nil {
		t.Fatal(err)
	}
	uid := is.Identity().StudyInstanceUID
	for _, args := range [][]string{{"--study", uid}, {"--month", "2026-03"}, {"--year", "2026"}} {
		text, code := perform(append(append([]string{"export", "fhir", "--log-level", "debug"}, args...), ledger...)...)
		if code != exitComplete || !strings.Contains(text, "resourceType") {
			t.Errorf("%v: exit code %d\n%.500s", args, code, text)
		}
		upper := strings.ToUpper(text)
		for _, marker := range []string{"MARKER", "1977", "STATION1"} {
			if at := strings.Index(upper, marker); at >= 0 {
				t.Errorf("%v names somebody: ...%s...", args, upper[max(at-80, 0):min(at+80, len(upper))])
			}
		}
		if args[0] != "--study" && strings.Contains(text, uid) {
			t.Errorf("%v names the study", args)
		}
	}
}
