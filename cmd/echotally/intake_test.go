package main

import (
	"bufio"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"echotally/internal/dcmtest"
	"echotally/internal/srtest"
	"echotally/internal/store"
)

// TestWatchStopsCleanly records a file that comes while the folder is watched,
// and sends the signal only after it was told of.
func TestWatchStopsCleanly(t *testing.T) {
	program, err := exec.LookPath("echotally")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	in, ledger, key := filepath.Join(dir, "in"), filepath.Join(dir, "ledger.db"), filepath.Join(dir, "key")
	if err := os.Mkdir(in, 0o755); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(program, "intake", "--watch", in, "--settle", "10ms", "--store", ledger, "--key", key)
	var stderr strings.Builder
	cmd.Stderr = &stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	report := dcmtest.Encode(srtest.Report(t, `header 0020000D = 2.25.77
container DCM:125200 "Adult Echocardiography Procedure Report"
`), dcmtest.Encoding{})
	if err := os.WriteFile(filepath.Join(in, "one.dcm"), report, 0o644); err != nil {
		t.Fatal(err)
	}
	var told []string
	for lines := bufio.NewScanner(out); lines.Scan(); {
		told = append(told, lines.Text())
		if strings.HasPrefix(lines.Text(), "study\tnew\t2.25.77") {
			if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := cmd.Wait(); err != nil {
		t.Errorf("ended with %v; standard error %q", err, stderr.String())
	}
	if last := told[len(told)-1]; !strings.HasPrefix(last, "total\t1 studies new") {
		t.Errorf("the last line is %q", last)
	}
	if verified, err := exec.Command(program, "ledger", "verify", "--store", ledger).CombinedOutput(); err != nil {
		t.Errorf("%v: %s", err, verified)
	}
}

// TestNobodyIsNamedInTheLedger puts the marked report through intake, its path
// and a list as well, and searches all that is told, logged and kept.
func TestNobodyIsNamedInTheLedger(t *testing.T) {
	dir := t.TempDir()
	in, file, key := filepath.Join(dir, "MARKERSON MARKERINE"), filepath.Join(dir, "ledger.db"), filepath.Join(dir, "key")
	list := filepath.Join(dir, "staff.csv")
	for name, content := range map[string][]byte{
		filepath.Join(in, "MARKERID-77.dcm"): dcmtest.Encode(srtest.Report(t, marked), dcmtest.Encoding{}),
		filepath.Join(in, "MARKER-cut.dcm"):  dcmtest.Encode(srtest.Report(t, marked), dcmtest.Encoding{})[:700],
		list:                                 []byte("name,role\nMARKEROPERATOR^O,sonographer\nMARKERREADER^R,MARKER\n"),
	} {
		if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, content, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	told, code := perform("intake", in, "--roster", list, "--store", file, "--key", key, "--log-level", "debug")
	if code != exitIncomplete || !strings.Contains(told, "\nstudy\tnew\t") {
		t.Fatalf("exit code %d, %s", code, told)
	}
	for _, args := range [][]string{{"ledger", "stats"}, {"ledger", "verify"}, {"waive", "list"}} {
		out, _ := perform(append(args, "--store", file, "--log-level", "debug")...)
		told += out
	}
	told = strings.ReplaceAll(told, list, "") // the path that was given for the list
	s, err := store.Open(t.Context(), file, store.Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	rules, err := s.LatestRuleSet(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for one, err := range s.Studies(t.Context(), store.Period{}, store.Filter{}, rules) {
		if err != nil {
			t.Fatal(err)
		}
		if one.Sonographer == "" || one.Reader == "" {
			t.Errorf("sonographer %q, reader %q", one.Sonographer, one.Reader)
		}
		study, err := one.Rebuild()
		if err != nil {
			t.Fatal(err)
		}
		kept, err := json.Marshal([]any{one.Facts, one.Protocols, study})
		if err != nil {
			t.Fatal(err)
		}
		told += string(kept)
		whole, _, err := s.Judgement(t.Context(), one.UID, rules)
		if err != nil || whole == nil {
			t.Fatalf("no judgement of %s: %v", one.UID, err)
		}
		if kept, err = json.Marshal(whole); err != nil {
			t.Fatal(err)
		}
		told += string(kept)
	}
	for _, suffix := range []string{"", "-wal"} {
		if bytes, err := os.ReadFile(file + suffix); err == nil {
			told += string(bytes)
		}
	}
	for _, name := range []string{"MARKER", "19770707"} {
		if i := strings.Index(told, name); i >= 0 {
			t.Errorf("%s stands in: %q", name, told[max(0, i-60):min(len(told), i+60)])
		}
	}
}
