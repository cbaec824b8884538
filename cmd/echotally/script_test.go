package main

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"echotally/internal/dcmtest"
	"echotally/internal/srtest"
)

// removing runs the tests and takes away what they made together.
type removing struct{ *testing.M }

func (r removing) Run() int {
	defer func() { _ = os.RemoveAll(yearMade.dir) }()
	debug.SetGCPercent(400) // commands that run in this process leave nothing behind
	return r.M.Run()
}

func TestMain(m *testing.M) {
	// Several programs at work in tests cannot have one port: a test of the page says where.
	if _, said := os.LookupEnv("ECHOTALLY_WEB_LISTEN"); !said {
		os.Setenv("ECHOTALLY_WEB_LISTEN", "")
	}
	testscript.Main(removing{m}, map[string]func(){"echotally": main})
}

// variables are those of the environment that scripts may set.
var variables = []string{"SOURCE_DATE_EPOCH", "ECHOTALLY_STORE", "ECHOTALLY_KEY", "ECHOTALLY_WEB_LISTEN"}

// TestScripts runs the command scripts, one per feature. Besides the usual
// commands they have:
//
//	report FILE TEXT    build a DICOM report from its text form (srtest.Report)
//	exits CODE COMMAND  run a command that must end with the exit code; echotally itself is run in
//	                    this process, and with -full as one of its own
//	study NAME INTO     put one study of the demo lab into a folder, in a folder of its name
//	again FROM TO       put second readers' own reports of the studies of a lab into a folder
//	year                put the demo lab's year into lab, its ledger into lab.db and key, as
//	                    demo --year --studies 5 and intake make them (audit runs these)
func TestScripts(t *testing.T) {
	var one sync.Mutex // has the folder and the environment of the process
	scripts, err := filepath.Abs("testdata/script")
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir: scripts,
		Setup: func(e *testscript.Env) error {
			e.Setenv("SOURCE_DATE_EPOCH", "1795600800")
			e.Setenv("ECHOTALLY_WEB_LISTEN", "")
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"report": func(ts *testscript.TestScript, _ bool, args []string) {
				text := ts.ReadFile(args[1])
				encoded := dcmtest.Encode(srtest.Report(t, text), dcmtest.Encoding{})
				file := ts.MkAbs(args[0])
				ts.Check(os.MkdirAll(filepath.Dir(file), 0o755))
				ts.Check(os.WriteFile(file, encoded, 0o644))
			},
			"study": func(ts *testscript.TestScript, _ bool, args []string) {
				ts.Check(demoStudy(args[0], ts.MkAbs(args[1])))
			},
			"again": func(ts *testscript.TestScript, _ bool, args []string) {
				ts.Check(secondReports(ts.MkAbs(args[0]), ts.MkAbs(args[1])))
			},
			"year": func(ts *testscript.TestScript, _ bool, _ []string) {
				one.Lock()
				defer one.Unlock()
				lab, err := copyYear(ts.MkAbs("."))
				ts.Check(err)
				ts.Check(os.CopyFS(ts.MkAbs("lab"), os.DirFS(lab)))
			},
			"exits": func(ts *testscript.TestScript, _ bool, args []string) {
				want, err := strconv.Atoi(args[0])
				ts.Check(err)
				got := 0
				var exit *exec.ExitError
				if args[1] == "echotally" && !*full {
					one.Lock()
					defer one.Unlock()
					got, err = here(ts, args[2:])
				} else if err = ts.Exec(args[1], args[2:]...); errors.As(err, &exit) {
					got, err = exit.ExitCode(), nil
				}
				ts.Check(err)
				if got != want {
					ts.Fatalf("%v exits with %d, want %d", args[1:], got, want)
				}
			},
		},
	})
}

// here runs a command of a script in this process, where and with what the script has set.
func here(ts *testscript.TestScript, args []string) (code int, err error) {
	before, err := os.Getwd()
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, os.Chdir(before)) }()
	if err := os.Chdir(ts.MkAbs(".")); err != nil {
		return 0, err
	}
	for _, name := range variables {
		value, was := os.LookupEnv(name)
		os.Setenv(name, ts.Getenv(name))
		defer func() {
			if os.Setenv(name, value); !was {
				os.Unsetenv(name)
			}
		}()
	}
	return performTo(ts.Stdout(), ts.Stderr(), args), nil
}

// TestEveryExitCodeIsProducedByAScript keeps the table of exit codes honest;
// 130 has its own tests. It also sees that what a script sets is known.
func TestEveryExitCodeIsProducedByAScript(t *testing.T) {
	var all strings.Builder
	files, err := filepath.Glob("testdata/script/*.txtar")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		all.Write(text)
	}
	for _, line := range regexp.MustCompile(`(?m)^env (.*)$`).FindAllStringSubmatch(all.String(), -1) {
		for _, one := range strings.Fields(line[1]) {
			if name, _, _ := strings.Cut(one, "="); !slices.Contains(variables, name) {
				t.Errorf("a script sets %s: add it to what a command is run with", name)
			}
		}
	}
	for _, code := range []int{exitComplete, exitFailure, exitUsage, exitFindings, exitIncomplete} {
		if !strings.Contains(all.String(), "\nexits "+strconv.Itoa(code)+" echotally ") {
			t.Errorf("no script ends with %d", code)
		}
	}
	for _, command := range commands(newRootCommand(testApp())) {
		if !regexp.MustCompile(`(?m)^exits \d ` + command + `( |$)`).MatchString(all.String()) {
			t.Errorf("no script runs %q", command)
		}
	}
}

// sheetAsShown compares the sheet in the README with the one its command prints, or
// rewrites it. What changes with every release, below the notes, is left out.
func sheetAsShown(t *testing.T, readme, output string) {
	t.Helper()
	shown, _, _ := strings.Cut(output, "\nBASIS\n")
	block := "<!-- sheet -->\n```text\n" + strings.TrimRight(shown, "\n") + "\n```\n<!-- end of sheet -->"
	if strings.Contains(readme, block) {
		return
	}
	if !*update {
		t.Errorf("README.md shows another sheet than this; if it should, run: go test ./cmd/echotally -run TestReadme -update\n%s", shown)
		return
	}
	part := regexp.MustCompile(`(?s)<!-- sheet -->.*<!-- end of sheet -->`)
	if !part.MatchString(readme) {
		t.Fatal("README.md has no place for the sheet")
	}
	if err := os.WriteFile("../../README.md", []byte(part.ReplaceAllLiteralString(readme, block)), 0o644); err != nil {
		t.Fatal(err)
	}
}

// TestExitTableIsTheSameEverywhere compares constants, help and README.
func TestExitTableIsTheSameEverywhere(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	row := regexp.MustCompile(`(?m)^ {2,4}(\d+) +(.+(?:\n {7}\S.+)*)`)
	var codes []int
	for _, m := range row.FindAllStringSubmatch(exitTable, -1) {
		code, err := strconv.Atoi(m[1])
		if err != nil {
			t.Fatal(err)
		}
		codes = append(codes, code)
		line := "| " + m[1] + " | " + strings.ReplaceAll(strings.Join(strings.Fields(m[2]), " "), "--fail-on", "`--fail-on`") + " |"
		if !strings.Contains(string(readme), line) {
			t.Errorf("README.md lacks the line %q", line)
		}
	}
	if !slices.Equal(codes, []int{exitComplete, exitFailure, exitUsage, exitFindings, exitIncomplete, exitInterrupted}) {
		t.Errorf("the table tells of %v", codes)
	}
}

// TestReadmeRunsAsWritten performs the run command of the README, with the
// demo lab in a folder of the test.
func TestReadmeRunsAsWritten(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	run := regexp.MustCompile(`(?m)^go run ./cmd/echotally (demo demo-lab) && go run ./cmd/echotally (check demo-lab/.*)$`).FindStringSubmatch(string(readme))
	if run == nil {
		t.Fatal("README.md has no run command")
	}
	lab := filepath.Join(t.TempDir(), "lab")
	for i, line := range run[1:] {
		output, code := perform(strings.Fields(strings.ReplaceAll(line, "demo-lab", lab))...)
		if code != exitComplete {
			t.Fatalf("echotally %s: exit code %d\n%s", line, code, output)
		}
		if i == 1 && !(strings.Contains(output, "■ [1]") && strings.Contains(output, "[ ]") && strings.Contains(output, "Likely slip: ")) {
			t.Errorf("the study the README shows has not both an error with a likely slip and something to take; choose another\n%s", output)
		}
		if i == 1 {
			sheetAsShown(t, string(readme), strings.ReplaceAll(output, lab, "demo-lab"))
		}
	}
	if !strings.Contains(string(readme), "\ngo test -timeout 30m ./...\n") {
		t.Error("README.md does not name the test command")
	}
}
