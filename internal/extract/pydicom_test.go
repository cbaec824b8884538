package extract_test

import (
	"bufio"
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"echotally/internal/coding"
	"echotally/internal/dcm"
	"echotally/internal/echo"
	"echotally/internal/extract"
	"echotally/internal/sr"
	"echotally/internal/srtest"
)

// reading is one file as pydicom reads it.
type reading struct {
	File, SOP, Error string
	Items            []struct {
		Item    string
		Concept [2]string
		Value   string
		Unit    [2]string
		Nested  bool
	}
}

// pydicomReads runs the independent reader, or skips.
func pydicomReads(t *testing.T, files []string) []reading {
	t.Helper()
	python := "/usr/bin/python3"
	if err := exec.Command(python, "-c", "import pydicom").Run(); err != nil {
		t.Skip("python3 with pydicom is not installed: the independent reading of NUM items is not made (Debian package python3-pydicom)")
	}
	var errors bytes.Buffer
	command := exec.Command(python, append([]string{"-W", "ignore", filepath.Join("testdata", "num_items.py")}, files...)...)
	command.Stderr = &errors
	out, err := command.Output()
	if err != nil {
		t.Fatalf("%v\n%s", err, errors.String())
	}
	var all []reading
	lines := bufio.NewScanner(bytes.NewReader(out))
	lines.Buffer(nil, 64<<20)
	for lines.Scan() {
		var r reading
		if err := json.Unmarshal(lines.Bytes(), &r); err != nil {
			t.Fatal(err)
		}
		all = append(all, r)
	}
	return all
}

// Every structured report among the samples: count, position, value, unit,
// concept and nesting of the NUM items as pydicom reads them.
func TestNumItemsAgainstPydicom(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(srtest.Shared(t, "samples", "sr-other"), "*.dcm"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no samples: %v", err)
	}
	compareAll(t, files, 80)
}

// compareAll compares every whole report among the files; at least so many NUM
// items must have been met. A file that either side cannot read whole is not
// compared.
func compareAll(t *testing.T, files []string, atLeast int) {
	t.Helper()
	total := 0
	for _, r := range pydicomReads(t, files) {
		if !sr.IsStructuredReport(r.SOP) || r.Error != "" {
			continue
		}
		b, err := os.ReadFile(r.File)
		if err != nil {
			t.Fatal(err)
		}
		file, err := dcm.ReadBytes(b)
		if err != nil || file.State != dcm.Read {
			t.Logf("%s is not read whole: %v", filepath.Base(r.File), err)
			continue
		}
		t.Run(filepath.Base(r.File), func(t *testing.T) {
			doc, err := sr.Parse(file)
			if err != nil {
				t.Fatal(err)
			}
			list := extract.Measurements(doc, extract.Catalogues{})
			if len(list) != len(r.Items) {
				t.Fatalf("%d NUM items, pydicom reads %d", len(list), len(r.Items))
			}
			for i, want := range r.Items {
				compare(t, list[i], want.Item, want.Concept, want.Value, want.Unit, want.Nested)
			}
			total += len(list)
		})
	}
	if total < atLeast {
		t.Errorf("only %d NUM items were compared", total)
	}
	t.Logf("%d NUM items compared", total)
}

func compare(t *testing.T, got echo.Measurement, item string, concept [2]string, value string, unit [2]string, nested bool) {
	t.Helper()
	if got.Source.Item != item {
		t.Errorf("item %s, pydicom has it at %s", got.Source.Item, item)
	}
	written := coding.CodedConcept{CodeValue: concept[0], CodingSchemeDesignator: concept[1]}
	if got.ConceptName.Key() != written.Key() {
		t.Errorf("%s: concept %s, pydicom %s", item, got.ConceptName, written)
	}
	if got.ValueText != value {
		t.Errorf("%s: value %q, pydicom %q", item, got.ValueText, value)
	}
	if got.Unit.CodeValue != unit[0] || got.Unit.CodingSchemeDesignator != unit[1] {
		t.Errorf("%s: unit %s, pydicom %q", item, got.Unit, unit)
	}
	if (got.Parent != nil) != nested {
		t.Errorf("%s: nested %t, pydicom %t", item, got.Parent != nil, nested)
	}
}
