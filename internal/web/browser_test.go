package web

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"echotally/internal/account"
	"echotally/internal/demo/casebook"
	"echotally/internal/finding"
	"echotally/internal/store"
	"echotally/internal/web/frame"
)

// aPage is a page as a browser is sent through it.
type aPage struct {
	Name string       `json:"name"` // its task, if any, has this name in testdata/browser/tasks.mjs
	Path string       `json:"path"` // {study} and {contradiction} stand for one that has something missing, or a contradiction
	Role account.Role `json:"role"` // "" for nobody
}

// browsed are all pages there are to look at, each in wide and narrow windows, in the dark,
// without scripts, on paper, and by keyboard alone.
var browsed = []aPage{
	{"sign-in", "/sign-in", ""},
	{"welcome", "/", account.Administrator},
	{"arrivals", "/arrivals", account.Sonographer},
	{"sheet", "{study}", account.Reader},
	{"sheet-contradiction", "{contradiction}", account.Reader},
	{"sheet-named", "{study}?names=1", account.Reader},
	{"check", "/check", account.Sonographer},
	{"health", "/health", account.QualityManager},
	{"accounts", "/accounts", account.Administrator},
	{"log", "/log", account.QualityManager},
	{"lab", "/lab?with=2026-09", account.QualityManager},
	{"lab-studies", "/lab/studies?measure=views-stated", account.QualityManager},
	{"rules", "/rules", account.Sonographer},
	{"rule", "/rules/right-ventricle/tapse-present", account.QualityManager},
	{"rule-effect", "/rules/right-ventricle/tapse-present/what-if?severity=error", account.QualityManager},
	{"rule-changes", "/rules-changes", account.Reader},
	{"actions", "/actions", account.QualityManager},
	{"codes", "/codes", account.QualityManager},
	{"readings", "/readings", account.QualityManager},
	{"readings-draw", "/readings/1", account.QualityManager},
	{"readings-case", "/readings/1/3", account.Reader},
	{"readings-results", "/readings/results", account.QualityManager},
	{"own", "/own?period=2026", account.Sonographer},
	{"people", "/people?period=2026", account.QualityManager},
	{"binder", "/binder?set=iac-adult-2021", account.QualityManager},
	{"requirement", "/binder/iac-adult-2021/privacy", account.QualityManager},
	{"meetings", "/meetings", account.QualityManager},
	{"not-found", "/nowhere", account.Reader},
}

var onlyPages = flag.String("pages", "", "look at these pages only, by name, between commas")

// chosen are the pages to look at.
func chosen() []aPage {
	if *onlyPages == "" {
		return browsed
	}
	names := strings.Split(*onlyPages, ",")
	return slices.DeleteFunc(slices.Clone(browsed), func(p aPage) bool { return !slices.Contains(names, p.Name) })
}

// TestPagesInABrowser goes through every page with a real browser: its main task by
// keyboard alone, no violation that axe-core finds, nothing that reaches beyond a narrow
// window, readable without scripts, printable, no error on the console, no request that
// leaves the host.
func TestPagesInABrowser(t *testing.T) {
	node, browser := program(t, "node"), program(t, "chromium")
	const dir = "testdata/browser"
	if _, err := os.Stat(filepath.Join(dir, "node_modules", "playwright-core")); err != nil {
		t.Skip("playwright-core and axe-core are not installed: npm ci --prefix internal/web/testdata/browser")
	}
	site, server := newSite(t)
	study, file := fill(t, site.Lab)
	readAgain(t, site, drawn(t, site, 14))
	recordYear(t, site.Lab)
	tie(t, site, "Quill", site.Lab.Key.Pseudonym("Marrow^Ines"))
	job := struct {
		Base, Browser, Study, File string
		Contradiction              string
		Cookies                    map[account.Role]string
		Pages                      []aPage
	}{server.URL, browser, study, file, site.Lab.Study(richest(t, site.Lab, finding.Consistency)), map[account.Role]string{}, chosen()}
	if _, err := site.Accounts.Add("Quill", "four plain words here", account.Roles()); err != nil {
		t.Fatal(err)
	}
	for _, role := range account.Roles() {
		job.Cookies[role] = site.Sessions.Begin("Quill", []account.Role{role})
	}
	for _, p := range browsed { // what takes long to make is made before it is looked at
		if p.Role == account.QualityManager || p.Name == "own" {
			fetched(t, newClient(site, p.Role), server.URL+p.Path)
		}
	}
	text, err := json.Marshal(job)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), node, "run.mjs")
	cmd.Dir, cmd.Stdin = dir, bytes.NewReader(text)
	var wrong bytes.Buffer
	cmd.Stderr = &wrong
	out, err := cmd.Output()
	seen := map[string]int{}
	for lines := bufio.NewScanner(bytes.NewReader(out)); lines.Scan(); {
		var one struct{ Page, Check, Fault string }
		if err := json.Unmarshal(lines.Bytes(), &one); err != nil {
			t.Fatalf("%v: %s", err, lines.Text())
		}
		seen[one.Page]++
		if one.Fault != "" {
			t.Errorf("%s, %s: %s", one.Page, one.Check, one.Fault)
		}
	}
	if err != nil {
		t.Fatalf("%v\n%s", err, wrong.String())
	}
	for _, p := range chosen() {
		if seen[p.Name] == 0 {
			t.Errorf("%s was not looked at", p.Name)
		}
	}
}

// program finds a program of the machine, or leaves the test out aloud.
func program(t *testing.T, name string) string {
	path, err := exec.LookPath(name)
	if err != nil {
		t.Skipf("%s is not installed: no page was looked at in a browser", name)
	}
	return path
}

// fill records a small invented lab and gives the address of a study that lacks something,
// if possible with images and an earlier study, and a report to be checked.
func fill(t testing.TB, lab *frame.Lab) (study, file string) {
	t.Helper()
	dir := t.TempDir()
	cases := casebook.Studies(casebook.Options{Seed: 1})
	for i, c := range cases {
		if i%16 != 0 && i < len(cases)-6 {
			continue
		}
		for _, o := range c.Objects {
			b, err := o.Bytes()
			if err != nil {
				t.Fatal(err)
			}
			name := filepath.Join(dir, c.Truth.Folder, o.Name)
			if err := errors.Join(os.MkdirAll(filepath.Dir(name), 0o700), os.WriteFile(name, b, 0o600)); err != nil {
				t.Fatal(err)
			}
			if file == "" {
				file = name
			}
		}
	}
	records(t, lab, dir)
	return lab.Study(richest(t, lab, finding.Completeness)), file
}

// richest is the study with most to show beside a finding of a kind.
func richest(t testing.TB, lab *frame.Lab, kind finding.Kind) string {
	t.Helper()
	ctx := context.Background()
	all, err := lab.Ledger.Arrivals(ctx, 1000)
	if err != nil || len(all) == 0 {
		t.Fatalf("%d studies, %v", len(all), err)
	}
	points := map[string]int{}
	for _, a := range all {
		if a.Images > 0 {
			points[a.UID]++
		}
		kinds := map[finding.Kind]int{kind: 4}
		for i := range a.Rules {
			if outcome, severity := a.Outcome(i); outcome == finding.Fail && severity != finding.Information {
				points[a.UID] += kinds[a.Rules[i].Kind]
				kinds[a.Rules[i].Kind] = 0
			}
		}
		others, err := lab.Ledger.OfPerson(ctx, a.UID)
		if err != nil {
			t.Fatal(err)
		}
		if len(others) > 1 && others[0].UID != a.UID {
			points[a.UID] += 2
		}
	}
	return slices.MaxFunc(all, func(a, b *store.Arrival) int { return points[a.UID] - points[b.UID] }).UID
}
