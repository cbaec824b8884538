package main

import (
	"bytes"
	"os"
	"os/exec"
	"strings"
	"testing"
)

// TestConformance: the page beside the commands is what the command prints.
func TestConformance(t *testing.T) {
	var b bytes.Buffer
	if err := conformance(&b); err != nil {
		t.Fatal(err)
	}
	page(t, "CONFORMANCE.md", "TestConformance", b.Bytes())
}

// TestNamesOfSOPClasses are those of pydicom's dictionary of UIDs (PS3.6 annex A).
func TestNamesOfSOPClasses(t *testing.T) {
	const python = "/usr/bin/python3"
	if err := exec.Command(python, "-c", "import pydicom").Run(); err != nil {
		t.Skip("pydicom is not installed: names were held against no other dictionary")
	}
	all := append([]uidName{}, storageClasses...)
	for uid, name := range transferNames {
		all = append(all, uidName{uid, name})
	}
	args := []string{"-c", "import sys, pydicom.uid as u\nfor x in sys.argv[1:]:\n    x = u.UID(x); print(x.name + (' (Retired)' if x.is_retired and 'Retired' not in x.name else ''))"}
	for _, c := range all {
		args = append(args, c.uid)
	}
	out, err := exec.Command(python, args...).Output()
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	if len(lines) != len(all) {
		t.Fatalf("%d names of %d", len(lines), len(all))
	}
	for i, c := range all {
		if got := lines[i]; got != c.name && !strings.HasPrefix(got, strings.TrimSuffix(c.name, " (Retired)")) {
			t.Errorf("%s is %q, not %q", c.uid, got, c.name)
		}
	}
}

// TestConformanceTellsOfEverythingTaken: no SOP class of pydicom's dictionary is taken
// that the statement does not name.
func TestConformanceTellsOfEverythingTaken(t *testing.T) {
	const python = "/usr/bin/python3"
	out, err := exec.Command(python, "-c", "from pydicom._uid_dict import UID_dictionary as d\nfor u, v in d.items():\n    if v[1] == 'SOP Class': print(u)").Output()
	if err != nil {
		t.Skip("pydicom is not installed: classes were held against no other dictionary")
	}
	text, err := os.ReadFile("CONFORMANCE.md")
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, uid := range strings.Fields(string(out)) {
		if n++; stored(uid) && !bytes.Contains(text, []byte("| "+uid+" |")) {
			t.Errorf("%s is taken and not told of", uid)
		}
	}
	if n < 150 {
		t.Errorf("only %d classes were looked at", n)
	}
}
