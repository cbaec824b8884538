package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/srtest"
)

// atWork is the program, begun and not able to end by itself.
type atWork struct {
	*exec.Cmd
	output *bufio.Reader // standard output
	stderr strings.Builder
}

func begin(t testing.TB, arguments ...string) *atWork {
	t.Helper()
	program, err := exec.LookPath("echotally")
	if err != nil {
		t.Fatal(err)
	}
	p := &atWork{Cmd: exec.Command(program, arguments...)}
	p.Stderr = &p.stderr
	stdout, err := p.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	p.output = bufio.NewReaderSize(stdout, 16)
	if err := p.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Process.Kill() })
	return p
}

// ends sends the signal and demands the exit code. The program would never end
// by itself, so the limit does not depend on the speed of the machine.
func (p *atWork) ends(t *testing.T, with os.Signal) {
	t.Helper()
	sent := time.Now()
	if err := p.Process.Signal(with); err != nil {
		t.Fatal(err)
	}
	stopped := time.AfterFunc(30*time.Second, func() { p.Process.Kill() })
	defer stopped.Stop()
	var exit *exec.ExitError
	if err := p.Wait(); !errors.As(err, &exit) || exit.ExitCode() != exitInterrupted {
		t.Errorf("ended with %v after %v, want exit code %d\n%s", err, time.Since(sent).Round(time.Second), exitInterrupted, p.stderr.String())
	}
	if !strings.Contains(p.stderr.String(), "interrupted") {
		t.Errorf("standard error: %q", p.stderr.String())
	}
}

func pipe(t *testing.T) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "pipe")
	if err := syscall.Mkfifo(name, 0o600); err != nil {
		t.Skip("no named pipes here: ", err)
	}
	return name
}

// feed opens a pipe that the program reads; this waits until it does.
func feed(t *testing.T, name string) io.WriteCloser {
	t.Helper()
	w, err := os.OpenFile(name, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { w.Close() })
	return w
}

// manyStudies writes studies whose output is far more than a pipe holds.
func manyStudies(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	for n := range 60 {
		d := srtest.Report(t, "container DCM:125200\n  contains num LN:11726-7 \"Peak velocity\" = 2.8 m/s\n"+
			strings.Repeat("  contains num LN:0-0 \"Without a measurand\" = 1 m/s\n", 20))
		d.Set(dcm.Strings(dcm.T(0x00080018), fmt.Sprintf("2.25.1%d", n)), dcm.Strings(dcm.T(0x0020000D), fmt.Sprintf("2.25.2%d", n)))
		if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("%d.dcm", n)), dcmtest.Encode(d, dcmtest.Encoding{}), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// A pipe that gives nothing: the program has opened it and waits.
func TestSignalEndsReading(t *testing.T) {
	for _, command := range []string{"check", "read", "codes"} {
		for _, signal := range []os.Signal{os.Interrupt, syscall.SIGTERM} {
			t.Run(command+" "+signal.String(), func(t *testing.T) {
				name := pipe(t)
				p := begin(t, command, name)
				feed(t, name)
				p.ends(t, signal)
			})
		}
	}
}

func TestSignalEndsIntake(t *testing.T) {
	name, dir := pipe(t), t.TempDir()
	p := begin(t, "intake", name, "--store", filepath.Join(dir, "lab.db"), "--key", filepath.Join(dir, "key"))
	feed(t, name)
	p.ends(t, syscall.SIGTERM)
}

// Standard output that nobody takes any more: judging has begun, and writing
// waits for ever.
func TestSignalEndsJudgingAndWriting(t *testing.T) {
	lab := manyStudies(t)
	for _, arguments := range [][]string{
		{"check", lab, "--format", "json"}, {"check", lab, "--format", "ndjson"}, {"check", lab}, {"check", lab, "--format", "html"}, {"check", lab, "--format", "csv"},
		{"read", lab, "--format", "ndjson"},
	} {
		t.Run(strings.Join(arguments[2:], " ")+" "+arguments[0], func(t *testing.T) {
			p := begin(t, arguments...)
			if _, err := p.output.ReadByte(); err != nil {
				t.Fatal(err)
			}
			p.ends(t, syscall.SIGTERM)
		})
	}
}

// Whatever was under the name stays when the run does not come to its end, and
// no part of another file lies beside it.
func TestSignalLeavesTheEarlierFile(t *testing.T) {
	lab, name, dir := manyStudies(t), pipe(t), t.TempDir()
	kept := filepath.Join(dir, "kept.json")
	if err := os.WriteFile(kept, []byte("earlier"), 0o640); err != nil {
		t.Fatal(err)
	}
	p := begin(t, "check", lab, name, "--format", "json", "--output", kept, "--force") // what is there is not ours
	feed(t, name)
	p.ends(t, os.Interrupt)
	entries, err := os.ReadDir(dir)
	if content, _ := os.ReadFile(kept); err != nil || len(entries) != 1 || string(content) != "earlier" {
		t.Errorf("%v holds %q, error %v", entries, content, err)
	}
}

// A pipe as output is written to as it is, and is there afterwards.
func TestOutputToAPipe(t *testing.T) {
	lab, name := manyStudies(t), pipe(t)
	p := begin(t, "check", lab, "--format", "csv", "--output", name)
	r, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if _, err := r.Read(make([]byte, 1)); err != nil {
		t.Fatal(err)
	}
	p.ends(t, os.Interrupt)
	if info, err := os.Lstat(name); err != nil || info.Mode()&os.ModeNamedPipe == 0 {
		t.Errorf("the pipe is %v, error %v", info, err)
	}
}
