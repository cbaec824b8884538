package main

import (
	"encoding/csv"
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
	"time"
)

// TestBinderAgreesWithTheLists holds the binder of the demonstration year against
// the lists themselves, counted here anew: which studies were read and signed in
// time, and what the lab has nothing to show for.
func TestBinderAgreesWithTheLists(t *testing.T) {
	t.Setenv("SOURCE_DATE_EPOCH", "1794787200")
	dir := t.TempDir()
	lab, out := filepath.Join(dir, "lab"), filepath.Join(dir, "binder")
	ledger := []string{"--store", filepath.Join(dir, "lab.db"), "--key", filepath.Join(dir, "key")}
	for _, line := range [][]string{
		{"demo", lab, "--year", "--studies", "5"},
		append([]string{"intake", lab, "--quiet"}, ledger...),
		append([]string{"intake", "--roster", filepath.Join(lab, "staff.csv"), "--labs", filepath.Join(lab, "sites.csv"), "--signoff", filepath.Join(lab, "times.csv")}, ledger...),
		append([]string{"binder", "--set", "iac-adult-2021", "--from", "2025-11-01", "--to", "2026-10-31", "--out", out}, ledger...),
	} {
		if text, code := perform(line...); code != 0 {
			t.Fatalf("%v: exit code %d\n%s", line, code, text)
		}
	}
	read, signed, all := countTimes(t, filepath.Join(lab, "times.csv"))
	status, evidence := map[string]string{}, map[string]string{}
	for _, row := range table(t, filepath.Join(out, "requirements.csv"))[1:] {
		status[row[5]], evidence[row[5]] = row[2], row[3]
	}
	for name, want := range map[string]int{"read-in-time": read, "signed-in-time": signed} {
		if !strings.Contains(evidence[name], fmt.Sprintf(": %d of %d studies", want, all)) {
			t.Errorf("%s: %q, by the lists %d of %d", name, evidence[name], want, all)
		}
		shown := "not shown"
		if float64(want) >= 0.95*float64(all) {
			shown = "shown by data"
		}
		if status[name] != shown {
			t.Errorf("%s: %s, by the lists %s", name, status[name], shown)
		}
	}
	// Volumes as another program reads them from the headers.
	for role, tag := range map[string]string{"sonographer": "0008,1070", "physician": "0008,1060"} {
		want := countPeople(t, filepath.Join(lab, "studies"), tag)
		var got []int
		for _, row := range table(t, filepath.Join(out, "evidence-"+role+"-volume.csv"))[1:] {
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
	if status["sonographer-volume"] != "shown by data" || status["physician-volume"] != "not shown" {
		t.Errorf("volumes: %s, %s", status["sonographer-volume"], status["physician-volume"])
	}
	// What the rules find complete is not counted here, but the status follows from it.
	var met, of int
	if _, after, found := strings.Cut(evidence["report-elements"], ": "); !found {
		t.Error(evidence["report-elements"])
	} else if _, err := fmt.Sscanf(after, "%d of %d", &met, &of); err != nil || (status["report-elements"] == "shown by data") != (float64(met) >= 0.9*float64(of)) {
		t.Errorf("%s: %s, %v", evidence["report-elements"], status["report-elements"], err)
	}
	// The year has no draw, meeting, action, comparison, attachment or image, lasts a
	// year, and no reader reads 300 of its 60 studies.
	for name, is := range status {
		if is != "not shown" && name != "read-in-time" && name != "signed-in-time" && name != "report-elements" && name != "sonographer-volume" {
			t.Errorf("%s: %s", name, is)
		}
	}
	if len(status) != 20 || all != 60 {
		t.Errorf("%d requirements, %d studies", len(status), all)
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

func table(t *testing.T, name string) [][]string {
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

// countTimes counts, of the list of times, what was read and signed within the
// standard: inpatients within 24 hours of the end, others by the end of the next
// working day, signed within 48 hours of the reading.
func countTimes(t *testing.T, name string) (read, signed, all int) {
	t.Helper()
	zone := time.UTC // of all stations of the lab
	for _, row := range table(t, name)[1:] {
		var at [3]time.Time
		for i, text := range row[2:5] {
			moment, err := time.Parse(time.RFC3339, text)
			if err != nil {
				t.Fatal(err)
			}
			at[i] = moment
		}
		all++
		limit := at[0].Add(24 * time.Hour)
		if row[1] != "inpatient" {
			day := at[0].In(zone)
			for next := true; next || day.Weekday() == time.Saturday || day.Weekday() == time.Sunday; next = false {
				day = day.AddDate(0, 0, 1)
			}
			limit = time.Date(day.Year(), day.Month(), day.Day()+1, 0, 0, 0, 0, zone)
		}
		if !at[1].After(limit) {
			read++
		}
		if at[2].Sub(at[1]) <= 48*time.Hour {
			signed++
		}
	}
	return read, signed, all
}
