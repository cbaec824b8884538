package demo

import (
	"bytes"
	"encoding/json"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"echotally/internal/dcm"
	"echotally/internal/demo/casebook"
	"echotally/internal/phantom"
)

func TestSameSeedSameBytes(t *testing.T) {
	first, second, other := folder(t, 7), folder(t, 7), folder(t, 8)
	if !slices.EqualFunc(first, second, sameFile) {
		t.Error("two runs with one seed differ")
	}
	if slices.EqualFunc(first, other, sameFile) {
		t.Error("another seed gives the same lab")
	}
}

func TestAStudyDoesNotDependOnTheNumberOfStudies(t *testing.T) {
	few, many := casebook.Studies(casebook.Options{Studies: 3, Seed: 5}), casebook.Studies(casebook.Options{Studies: 90, Seed: 5})
	if len(few) != 3 || len(many) != 90 {
		t.Fatalf("made %d and %d studies", len(few), len(many))
	}
	for i := range few {
		if !bytes.Equal(encoded(t, few[i].Objects[0]), encoded(t, many[i].Objects[0])) {
			t.Errorf("study %s differs", few[i].Truth.Folder)
		}
	}
}

func TestTheLabIsLargeEnough(t *testing.T) {
	var clean int
	makers := map[string]bool{}
	_, cases := Written(t)
	for _, c := range cases {
		if c.Truth.Clean {
			clean++
		}
		makers[c.Truth.Dialect] = true
	}
	if len(cases) < 60 || 3*clean < len(cases) || len(makers) < 3 {
		t.Errorf("%d studies, %d clean, %d dialects", len(cases), clean, len(makers))
	}
}

func TestWriteRefusesAFolderInUse(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "mine"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Write(dir, casebook.Options{Studies: 1}); err == nil || !strings.Contains(err.Error(), "hint:") {
		t.Errorf("error %v", err)
	}
}

func TestTruthFitsTheFiles(t *testing.T) {
	dir, cases := Written(t)
	b, err := os.ReadFile(filepath.Join(dir, "truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var truth casebook.Truth
	if err := json.Unmarshal(b, &truth); err != nil {
		t.Fatal(err)
	}
	if truth.SchemaVersion != 1 || truth.Seed != 1 || len(truth.Studies) != len(cases) {
		t.Errorf("schema %d, seed %d, %d studies of %d", truth.SchemaVersion, truth.Seed, len(truth.Studies), len(cases))
	}
	seen := map[string]bool{}
	for _, s := range truth.Studies {
		if seen[s.StudyInstanceUID] || seen[s.Folder] {
			t.Errorf("%s: UID or folder used twice", s.Folder)
		}
		seen[s.StudyInstanceUID], seen[s.Folder] = true, true
		if s.Clean != (len(s.Faults) == 0) {
			t.Errorf("%s: clean %v with %d faults", s.Folder, s.Clean, len(s.Faults))
		}
		if _, err := os.Stat(filepath.Join(dir, filepath.FromSlash(s.Folder))); err != nil {
			t.Error(err)
		}
		for _, f := range s.Faults {
			if f.Kind == "" || f.Text == "" || f.Outcome == "" {
				t.Errorf("%s: fault %+v is not described", s.Folder, f)
			}
			judged := f.Outcome == "fail" || f.Outcome == "review" || f.Outcome == "excused"
			if judged != (len(f.Rules) > 0) {
				t.Errorf("%s: %s: outcome %s with rules %v", s.Folder, f.Kind, f.Outcome, f.Rules)
			}
		}
	}
}

// TestDCMTKReadsTheReports holds the files against DCMTK's dsrdump, which
// checks the content tree against the SOP class. Files that are damaged on
// purpose must be refused.
func TestDCMTKReadsTheReports(t *testing.T) {
	dsrdump, err := exec.LookPath("dsrdump")
	if err != nil {
		t.Skip("dsrdump is not installed (Debian package dcmtk): this check needs it")
	}
	dir, cases := Written(t)
	good := []string{"-q"}
	for _, c := range cases {
		for _, o := range c.Objects {
			path := filepath.Join(dir, filepath.FromSlash(c.Truth.Folder), o.Name)
			switch {
			case o.Raw != nil, o.Dataset.Text(dcm.T(0x00080060)) == "US":
			case !departs(c.Truth):
				good = append(good, path)
			case accepted(t, dsrdump, "-q", path):
				t.Errorf("%s: accepted, though damaged on purpose", path)
			}
		}
	}
	if !accepted(t, dsrdump, good...) {
		t.Error("a report is not accepted")
	}
}

// accepted runs the tool and says whether it had nothing to complain about.
func accepted(t *testing.T, tool string, args ...string) bool {
	t.Helper()
	cmd := exec.Command(tool, args...)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	err := cmd.Run()
	if err != nil || stderr.Len() > 0 {
		t.Logf("%v %s", err, stderr.String())
		return false
	}
	return true
}

// departs says whether the study's reports break the standard on purpose.
func departs(s casebook.StudyTruth) bool {
	return slices.ContainsFunc(s.Faults, func(f casebook.FaultTruth) bool {
		return f.Outcome == "partial" || f.Outcome == "refused" || f.Kind == "unit-missing"
	})
}

// TestPydicomReadsTheNumbers compares every NUM item as pydicom reads it from
// the file with the data set that was written.
func TestPydicomReadsTheNumbers(t *testing.T) {
	python := "/usr/bin/python3"
	if exec.Command(python, "-c", "import pydicom").Run() != nil {
		t.Skip("pydicom is not installed (Debian package python3-pydicom): this check needs it")
	}
	dir, cases := Written(t)
	var paths, want []string
	seen := map[string]bool{} // one study per scanner and profile is enough here
	for _, c := range cases {
		kind := c.Truth.Dialect + c.Truth.Profile
		if seen[kind] {
			continue
		}
		seen[kind] = true
		for _, o := range c.Objects {
			if o.Raw != nil || o.Keep > 0 {
				continue
			}
			paths = append(paths, filepath.Join(dir, filepath.FromSlash(c.Truth.Folder), o.Name))
			want = append(want, "file "+o.Dataset.Text(phantom.TagSOPInstance))
			want = numbers(o.Dataset, want)
		}
	}
	cmd := exec.Command(python, append([]string{"-c", listNumbers}, paths...)...)
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	got := strings.Split(strings.TrimSpace(string(out)), "\n")
	if !slices.Equal(got, want) {
		for i := range min(len(got), len(want)) {
			if got[i] != want[i] {
				t.Fatalf("line %d of %d/%d: pydicom %q, written %q", i, len(got), len(want), got[i], want[i])
			}
		}
		t.Fatalf("pydicom reads %d lines, %d were written", len(got), len(want))
	}
}

const listNumbers = `
import io, sys, warnings, pydicom
warnings.simplefilter("ignore")
def walk(item):
    if item.ValueType == "NUM":
        name = item.ConceptNameCodeSequence[0]
        value = unit = ""
        if len(item.MeasuredValueSequence):
            m = item.MeasuredValueSequence[0]
            value = m.NumericValue.original_string if hasattr(m.NumericValue, "original_string") else str(m.NumericValue)
            if len(m.MeasurementUnitsCodeSequence):
                unit = m.MeasurementUnitsCodeSequence[0].CodeValue
        print(name.CodingSchemeDesignator, name.CodeValue, value, unit)
    for child in item.get("ContentSequence", []):
        walk(child)
for path in sys.argv[1:]:
    ds = pydicom.dcmread(io.BytesIO(open(path, "rb").read()))
    print("file", ds.SOPInstanceUID)
    walk(ds)
`

// numbers lists the NUM items of a data set in document order.
func numbers(d dcm.Dataset, lines []string) []string {
	if d.Text(phantom.TagValueType) == "NUM" {
		name := d.Sequence(phantom.TagConceptName)[0]
		value, unit := "", ""
		for _, m := range d.Sequence(phantom.TagMeasuredValue) {
			value = m.Text(phantom.TagNumericValue)
			for _, u := range m.Sequence(phantom.TagUnits) {
				unit = u.Text(phantom.TagCodeValue)
			}
		}
		lines = append(lines, strings.Join([]string{name.Text(phantom.TagCodeScheme), name.Text(phantom.TagCodeValue), value, unit}, " "))
	}
	for _, child := range d.Sequence(phantom.TagContent) {
		lines = numbers(child, lines)
	}
	return lines
}

type file struct {
	path    string
	content []byte
}

func sameFile(a, b file) bool { return a.path == b.path && bytes.Equal(a.content, b.content) }

// folder makes a lab and reads it back.
func folder(t *testing.T, seed uint64) []file {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "lab")
	if _, err := Write(dir, casebook.Options{Studies: 12, Seed: seed}); err != nil {
		t.Fatal(err)
	}
	var files []file
	err := filepath.WalkDir(dir, func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		relative, _ := filepath.Rel(dir, path)
		files = append(files, file{relative, b})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

func encoded(t *testing.T, o phantom.Object) []byte {
	t.Helper()
	b, err := o.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	return b
}
