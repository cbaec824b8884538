package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/printable"
	"echotally/internal/srtest"
)

// evil is a text with one of each kind that acts on what shows it, and a line that
// would pass for an acknowledgement.
const evil = "1.2\x1b[2J\x1b]0;owned\x07\r\nobject\trecorded\tforged\u0085\u009b31m\u202Eevil\u2066\u2028\u2029\x7f"

// hostileReport says it wherever a report has a text.
func hostileReport(t *testing.T) []byte {
	t.Helper()
	d := srtest.Report(t, marked)
	d.Set(dcm.Strings(dcm.T(0x00080005), "ISO_IR 192"))
	for _, tag := range []uint32{0x00080018, 0x00080020, 0x00080030, 0x00080050, 0x00080060, 0x00080070, 0x00081010, 0x00081030, 0x00081060, 0x00081090,
		0x00100010, 0x00100020, 0x00100030, 0x00100040, 0x00101010, 0x00181020, 0x0020000E, 0x0040A491, 0x0040A493} {
		d.Set(dcm.Private(dcm.T(tag), "LO", []string{evil}))
	}
	poison(&d)
	return dcmtest.Encode(d, dcmtest.Encoding{})
}

// poison adds it to what the content items state, and leaves what places them.
func poison(d *dcm.Dataset) {
	for i := range d.Elements {
		e := d.Elements[i]
		switch list, _ := e.Value().([]dcm.Dataset); {
		case list != nil:
			for j := range list {
				poison(&list[j])
			}
		case e.Tag == dcm.T(0x00080104), e.Tag == dcm.T(0x0040A160), e.Tag == dcm.T(0x0040A123):
			d.Elements[i] = dcm.Private(e.Tag, e.VR(), []string{d.Text(e.Tag) + evil})
		case e.Tag == dcm.T(0x00080100) && d.Text(e.Tag) == "X1", e.Tag == dcm.T(0x0040A30A) && d.Text(e.Tag) == "1.5":
			d.Elements[i] = dcm.Private(e.Tag, e.VR(), []string{d.Text(e.Tag) + evil})
		}
	}
}

// scan fails on every raw character that acts, and on a line that was forged.
func scan(t *testing.T, what, output string) {
	t.Helper()
	for i, r := range output {
		if printable.Unsafe(r) && r != '\n' && r != '\t' {
			t.Errorf("%s: raw %U in ...%q...", what, r, output[max(i-60, 0):min(i+20, len(output))])
			return
		}
	}
	for line := range strings.Lines(output) {
		if strings.HasPrefix(line, "object\trecorded\tforged") {
			t.Errorf("%s: a forged line %q", what, line)
		}
	}
}

// Hostile texts go through every command and format; nothing of them acts.
func TestNoTextActsOnWhatShowsIt(t *testing.T) {
	dir, out := t.TempDir(), t.TempDir()
	report := filepath.Join(dir, "a\nobject\trecorded\tforged\x1b[2J.dcm")
	noStudy := srtest.Report(t, marked)
	noStudy.Set(dcm.Private(dcm.T(0x0020000D), "UI", []string{evil}), dcm.Private(dcm.T(0x00080016), "UI", []string{evil}))
	torn := hostileReport(t)
	for name, content := range map[string][]byte{
		report: torn, filepath.Join(dir, "no-study.dcm"): dcmtest.Encode(noStudy, dcmtest.Encoding{}), filepath.Join(dir, "torn\u202E.dcm"): torn[:len(torn)/2],
	} {
		if err := os.WriteFile(name, content, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	site := filepath.Join(dir, "site")
	list, settings := filepath.Join(dir, "sites.csv"), filepath.Join(dir, "settings.yaml")
	for name, content := range map[string]string{
		filepath.Join(site, "tricuspid-valve", "evil.yaml"): "title: \"a\\x1b[2J\\nobject\\trecorded\\tforged\"\nkind: evil\x1b[2J\n",
		list: "station,lab\nSTATION1,\"" + evil + "\"\n" + evil + "\n", settings: "targets: {\"" + `\e[2J` + "\": 3}\n# \x1b[2J\n",
	} {
		if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	ledger := []string{"--store", filepath.Join(out, "lab.db"), "--key", filepath.Join(out, "key")}
	lines := [][]string{
		{"dump", report}, {"codes", dir}, {"codes", dir, "--format", "json"}, {"check", dir, "--identify", "--all", "--log-level", "debug"},
		{"check", dir, "--identify", "--format", "html"},
		append([]string{"intake", dir, "--paths", "--labs", list}, ledger...), append([]string{"ledger", "stats"}, ledger[:2]...), append([]string{"ledger", "verify"}, ledger[:2]...),
		append([]string{"audit", "--out", filepath.Join(out, "audit"), "--lab", evil, "--month", "2026-03"}, ledger...),
		append([]string{"audit", "--out", filepath.Join(out, "audit2"), "--settings", settings, "--month", "2026-03"}, ledger...),
		{"action", "add", "--title", evil, "--owner", evil, "--store", filepath.Join(out, "actions")}, {"action", "list", "--store", filepath.Join(out, "actions")},
		{"rules", "lint", "--rules", site}, {"rules", "list", "--rules", site}, {"check", evil}, {evil}, {"check", dir, "--" + evil}, {"check", dir, "--format", evil},
	}
	for _, format := range []string{"text", "json", "ndjson", "csv", "html"} {
		lines = append(lines, []string{"read", dir, "--format", format}, []string{"check", dir, "--format", format, "--all", "--output", filepath.Join(out, "sheet."+format)})
	}
	for _, line := range lines {
		output, _ := perform(line...)
		scan(t, "echotally "+strings.Join(line[:min(2, len(line))], " "), output)
	}
	written := 0
	err := filepath.WalkDir(out, func(path string, entry os.DirEntry, err error) error {
		switch filepath.Ext(path) {
		case ".text", ".json", ".ndjson", ".csv", ".html":
			content, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			written++
			scan(t, filepath.Base(path), string(content))
		}
		return err
	})
	if err != nil || written < 5 {
		t.Errorf("%d documents scanned, error %v", written, err)
	}
}
