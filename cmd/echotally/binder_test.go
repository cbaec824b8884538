package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"echotally/internal/accreditation"
	"echotally/internal/demo/labyear"
	"echotally/rules"
)

// TestBinderAgreesWithTheYear holds the binder of the demonstration year against what
// was put into the year: the status of every requirement of every shipped set before and
// after everything is attached that a set asks for, and what was counted for it.
func TestBinderAgreesWithTheYear(t *testing.T) {
	lab, ledger := recordedYear(t)
	dir := t.TempDir()
	t.Setenv("ECHOTALLY_STORE", ledger[1])
	t.Setenv("ECHOTALLY_KEY", ledger[3])
	run := func(line ...string) {
		t.Helper()
		if text, code := perform(line...); code != 0 {
			t.Fatalf("%v: exit code %d\n%s", line, code, text)
		}
	}
	in := func(name string) string { return filepath.Join(lab, name) }
	run("intake", "--roster", in("staff.csv"), "--labs", in("sites.csv"), "--signoff", in("times.csv"), "--appropriateness", in("requests.csv"), "--correlation", in("tests.csv"))
	for _, s := range labyear.Stories() {
		if a := s.Action; a != nil {
			run("action", "add", "--title", a.Title, "--cause", a.Cause, "--owner", a.Owner, "--measure", a.Measure, "--started", a.Started, "--due", a.Due)
		}
	}
	for _, m := range labyear.Meetings {
		run("meeting", "record", "--date", m.Day, "--title", "quality", "--attendance", in(m.List))
	}
	truth := requirementTruths(t, in("stories.json"))
	rows := 0
	for _, attached := range []bool{false, true} {
		for set, want := range truth {
			out := filepath.Join(dir, fmt.Sprint(set, attached))
			run("binder", "--set", set, "--from", "2025-11-01", "--to", "2026-10-31", "--out", out)
			rows += agrees(t, out, want, attached)
			for name, w := range want {
				if w.Attached != "" && !attached {
					run("binder", "attach", name, "--set", set, "--file", in("stories.json"), "--by", "quality-manager")
				}
			}
			if !attached && set == "iac-adult-2021" {
				volumesAgree(t, lab, out)
			}
		}
	}
	if rows != 2*25 {
		t.Errorf("%d rows were compared, the shipped sets have 25", rows)
	}
}

// requirementTruths reads the truth of the year by set and requirement, and says where
// a shipped set has none.
func requirementTruths(t *testing.T, name string) map[string]map[string]labyear.RequirementTruth {
	t.Helper()
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	var all struct{ Requirements []labyear.RequirementTruth }
	if err := json.Unmarshal(text, &all); err != nil {
		t.Fatal(err)
	}
	out := map[string]map[string]labyear.RequirementTruth{}
	for _, r := range all.Requirements {
		if out[r.Set] == nil {
			out[r.Set] = map[string]labyear.RequirementTruth{}
		}
		out[r.Set][r.Requirement] = r
	}
	shipped, err := accreditation.Names(rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	for _, set := range shipped {
		if out[set] == nil {
			t.Errorf("the year says nothing of the set %s", set)
		}
	}
	return out
}

// agrees holds the rows of a binder against the truth and counts them.
func agrees(t *testing.T, folder string, want map[string]labyear.RequirementTruth, attached bool) int {
	t.Helper()
	rows := csvRows(t, filepath.Join(folder, "requirements.csv"))[1:]
	if len(rows) != len(want) {
		t.Errorf("%s: %d rows, the year tells of %d", folder, len(rows), len(want))
	}
	for _, row := range rows {
		w, told := want[row[5]]
		if !told {
			t.Errorf("the year says nothing of %s", row[5])
			continue
		}
		status := w.Status
		if attached && w.Attached != "" {
			status = w.Attached
		}
		if row[2] != status {
			t.Errorf("%s (attached %v): %s, want %s: %s\n%s; %s", row[5], attached, row[2], status, w.Why, row[3], row[4])
		}
		if !strings.Contains(" "+row[3], " "+w.Count) {
			t.Errorf("%s: %q, want %s", row[5], row[3], w.Count)
		}
		if status != "shown by data" && status != "shown by attachment" && row[4] == "" {
			t.Errorf("%s: nothing is said of what would close the gap", row[5])
		}
	}
	return len(rows)
}

// volumesAgree holds the volumes of a binder against the headers, as another program
// reads them.
func volumesAgree(t *testing.T, lab, out string) {
	t.Helper()
	for role, tag := range map[string]string{"sonographer": "0008,1070", "physician": "0008,1060"} {
		want := countPeople(t, filepath.Join(lab, "studies"), tag)
		var got []int
		for _, row := range csvRows(t, filepath.Join(out, "evidence-"+role+"-volume.csv"))[1:] {
			n, err := strconv.Atoi(row[1])
			if err != nil {
				t.Fatal(err)
			}
			got = append(got, n)
		}
		slices.Sort(got)
		if want != nil && !slices.Equal(got, want) {
			t.Errorf("studies by %s: %v, by the headers %v", role, got, want)
		}
	}
}

// countPeople counts studies by the person in an attribute of their reports, by DCMTK,
// least first; nil where that is not installed.
func countPeople(t *testing.T, folder, tag string) []int {
	t.Helper()
	dump, err := exec.LookPath("dcmdump")
	if err != nil {
		t.Log("DCMTK is not installed: volumes were not compared")
		return nil
	}
	text, err := exec.Command(dump, "+sd", "+r", "+P", "0020,000d", "+P", tag, folder).Output()
	if err != nil {
		t.Fatal(err)
	}
	value := regexp.MustCompile(`(?m)^\((\S+)\) .. \[([^\]]*)\]`)
	of, study := map[string]string{}, ""
	for _, m := range value.FindAllStringSubmatch(string(text), -1) {
		if m[1] == tag {
			of[study] = strings.TrimSpace(m[2])
		} else {
			study = m[2]
		}
	}
	counts := map[string]int{}
	for _, who := range of {
		counts[who]++
	}
	return slices.Sorted(maps.Values(counts))
}

func csvRows(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows
}
