package dcm_test

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io/fs"
	"log"
	"maps"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/suyashkumar/dicom"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/srtest"
)

// readByPydicom prints each element of each file as one JSON line: file, path,
// VR, values as text. The script reads the file names from standard input.
const readByPydicom = `
import json, sys, warnings, logging
warnings.simplefilter("ignore"); logging.disable(logging.CRITICAL)
import pydicom
from pydicom import config
config.settings.reading_validation_mode = config.IGNORE
TEXT = {"AE","AS","CS","DA","DS","DT","IS","LO","LT","PN","SH","ST","TM","UC","UI","UR","UT"}
NUMBER = {"US","SS","UL","SL","SV","UV","FL","FD"}
def values(e):
    v = e.value
    if v is None: return []
    if isinstance(v, (pydicom.multival.MultiValue, list, tuple)): return list(v)
    return [v]
def text(x):
    original = getattr(x, "original_string", None)
    return original if isinstance(original, str) else str(x)
def walk(name, path, ds, decoded):
    for tag in list(ds.keys()):
        where = path + "%08X" % int(tag)
        if tag.group >= 0x7FE0: continue
        try:
            e = ds[tag]
            row = {"file": name, "path": where, "vr": e.VR}
            if e.VR == "SQ":
                row["items"] = len(e.value)
            elif e.VR in TEXT:
                row["text"] = [text(x) for x in values(e)]
            elif e.VR in NUMBER:
                row["number"] = [repr(float(x)) for x in values(e)]
            else:
                row["bytes"] = True
        except Exception as problem:
            row = {"file": name, "path": where, "problem": type(problem).__name__}
            e = None
        print(json.dumps(row))
        if e is not None and e.VR == "SQ":
            for i, item in enumerate(e.value):
                walk(name, where + "[%d]" % (i + 1), item, decoded)
for name in sys.stdin.read().split("\n"):
    if not name: continue
    try:
        ds = pydicom.dcmread(name, stop_before_pixels=True, force=True)
        walk(name, "", ds, set())
        print(json.dumps({"file": name, "path": "end"}))
    except Exception as problem:
        print(json.dumps({"file": name, "path": "end", "problem": type(problem).__name__}))
`

type pydicomRow struct {
	File, Path, VR, Problem string
	Items                   *int
	Text, Number            []string
	Bytes                   bool
}

func sampleFiles(t *testing.T) []string {
	var files []string
	for _, folder := range []string{"broken", "sr-other", "us-images"} {
		root := srtest.Shared(t, "samples", folder)
		if err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
			if err == nil && !d.IsDir() {
				files = append(files, path)
			}
			return err
		}); err != nil {
			t.Fatal(err)
		}
	}
	return files
}

// Every sample is read, partial or refused with a reason, by both ways in,
// in little memory.
func TestSamples(t *testing.T) {
	counts := map[dcm.State]int{}
	for _, path := range sampleFiles(t) {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		var f *dcm.File
		allocated := allocatedBy(func() { f, err = dcm.ReadBytes(b) })
		if limit := uint64(4<<20 + 8*len(b)); allocated > limit {
			t.Errorf("%s: %d bytes allocated for a file of %d", filepath.Base(path), allocated, len(b))
		}
		state, said := outcome(t, f, err)
		counts[state]++
		header, err := dcm.ReadHeader(bytes.NewReader(b), int64(len(b)))
		if headerState, headerSaid := outcome(t, header, err); headerState != state {
			t.Errorf("%s: whole %s (%s), header %s (%s)", filepath.Base(path), state, said, headerState, headerSaid)
		}
		if f != nil {
			checkText(t, f.Dataset)
		}
		if state != dcm.Read {
			t.Logf("%s: %s: %s", filepath.Base(path), state, said)
		}
	}
	t.Log(counts)
}

// An independent reader sees the same elements with the same text and numbers.
func TestAgreesWithPydicom(t *testing.T) {
	const python = "/usr/bin/python3"
	if err := exec.Command(python, "-c", "import pydicom").Run(); err != nil {
		t.Skip("pydicom is not installed (Debian: python3-pydicom): no independent reading of the samples")
	}
	files := sampleFiles(t)
	own, err := filepath.Glob(filepath.Join("..", "..", "testdata", "dicom", "*.dcm"))
	if err != nil || len(own) == 0 {
		t.Fatalf("own files: %d, %v", len(own), err)
	}
	files = append(files, own...)
	cmd := exec.Command(python, "-c", readByPydicom)
	cmd.Stdin = strings.NewReader(strings.Join(files, "\n"))
	var problems bytes.Buffer
	cmd.Stderr = &problems
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("pydicom script: %v\n%s", err, problems.String())
	}
	readings := map[string]*reading{}
	compared, complete := 0, 0
	lines := bufio.NewScanner(bytes.NewReader(out))
	lines.Buffer(nil, 64<<20)
	for lines.Scan() {
		var row pydicomRow
		if err := json.Unmarshal(lines.Bytes(), &row); err != nil {
			t.Fatal(err)
		}
		r := readings[row.File]
		if r == nil {
			r = newReading(t, row.File)
			readings[row.File] = r
		}
		switch {
		case r.state == dcm.Refused || pydicomMisreads[r.name] != "":
		case row.Path == "end" && row.Problem == "":
			complete++
			r.missed(t)
		case row.Path != "end":
			compared += r.compare(t, row)
		}
	}
	if complete < 140 || compared < 15000 {
		t.Errorf("only %d files and %d values compared", complete, compared)
	}
	t.Logf("%d files, %d values compared", complete, compared)
}

// reading is one file as this package reads it, by element path.
type reading struct {
	name     string
	state    dcm.State
	elements map[string]dcm.Dataset // the data set that holds the element
	seen     map[string]bool
}

func newReading(t *testing.T, path string) *reading {
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	f, err := dcm.ReadBytes(b)
	r := &reading{name: filepath.Base(path), state: dcm.Refused, elements: map[string]dcm.Dataset{}, seen: map[string]bool{}}
	if err != nil {
		return r
	}
	r.state = f.State
	var walk func(prefix string, d dcm.Dataset)
	walk = func(prefix string, d dcm.Dataset) {
		for _, e := range d.Elements {
			path := prefix + fmt.Sprintf("%08X", e.Tag.Uint32())
			r.elements[path] = d
			for i, item := range d.Sequence(e.Tag) {
				walk(fmt.Sprintf("%s[%d]", path, i+1), item)
			}
		}
	}
	walk("", f.Dataset)
	return r
}

func tagOf(path string) dcm.Tag {
	n, _ := strconv.ParseUint(path[len(path)-8:], 16, 32)
	return dcm.T(uint32(n))
}

// compare holds one element against the row and returns how many values it compared.
func (r *reading) compare(t *testing.T, row pydicomRow) int {
	r.seen[row.Path] = true
	tag := tagOf(row.Path)
	d, ok := r.elements[row.Path]
	if !ok {
		if tag.Element != 0 { // pydicom keeps no group lengths, we do; the other way round does not happen
			t.Errorf("%s: %s is missing", r.name, row.Path)
		}
		return 0
	}
	vr := d.VR(tag)
	switch {
	case row.Problem != "" || row.Bytes || vr == "UN" || vr != row.VR && tag.Group%2 == 1:
		return 0 // bytes, or a private tag that pydicom has in a dictionary of its own
	case row.Items != nil:
		if n := len(d.Sequence(tag)); n != *row.Items {
			t.Errorf("%s: %s has %d items, pydicom %d", r.name, row.Path, n, *row.Items)
		}
		return 1
	case row.Number != nil:
		return r.compareNumbers(t, row, d, tag)
	}
	got := d.Texts(tag)
	want := row.Text
	for i := range want {
		want[i] = strings.Trim(want[i], " \x00")
	}
	if vr == "PN" { // pydicom drops empty component groups at the end
		for i := range got {
			got[i] = strings.TrimRight(got[i], "=")
		}
	}
	if len(want) == 1 && want[0] == "" {
		want = nil
	}
	if !slices.Equal(got, want) && !misreadText(row) {
		t.Errorf("%s: %s %s is %q, pydicom %q", r.name, row.Path, vr, got, want)
	}
	return max(len(want), 1)
}

func (r *reading) compareNumbers(t *testing.T, row pydicomRow, d dcm.Dataset, tag dcm.Tag) int {
	var got []float64
	for _, n := range d.Ints(tag) {
		got = append(got, float64(n))
	}
	got = append(got, d.Floats(tag)...)
	same := len(got) == len(row.Number)
	for i := 0; same && i < len(got); i++ {
		want, _ := strconv.ParseFloat(row.Number[i], 64)
		same = got[i] == want || row.VR == "FL" && float32(got[i]) == float32(want) || math.IsNaN(got[i]) && math.IsNaN(want)
	}
	if !same {
		t.Errorf("%s: %s %s is %v, pydicom %v", r.name, row.Path, row.VR, got, row.Number)
	}
	return max(len(got), 1)
}

// pydicomMisreads names the files in which pydicom 2.3 loses its way,
// and why our reading is the right one.
var pydicomMisreads = map[string]string{
	"dcm4che-no_preamble_dicm_in_data.dcm": "pydicom takes DICM inside the data for the end of a preamble",
	"fodicom-GH179A.dcm":                   "pydicom reads a blank VR as implicit with a length of 2 MB; dcmdump reads on, as we do",
}

// misreadText reports whether pydicom's text is known to be wrong: an escape
// sequence is left, because it split a kanji whose second byte is a backslash,
// or text was decoded in a VR to which character sets do not apply.
func misreadText(row pydicomRow) bool {
	joined := strings.Join(row.Text, `\`)
	return strings.Contains(joined, "\x1b") || row.VR == "CS" && strings.ContainsFunc(joined, func(c rune) bool { return c >= 0x80 })
}

// missed reports elements that pydicom does not have.
func (r *reading) missed(t *testing.T) {
	for _, path := range slices.Sorted(maps.Keys(r.elements)) {
		if tag := tagOf(path); !r.seen[path] && tag.Element != 0 && tag.Group < 0x7FE0 {
			t.Errorf("%s: %s is not in pydicom's reading", r.name, path)
		}
	}
}

// On well-formed files the library's own reader, which is not used otherwise,
// gives the same elements.
func TestAgreesWithLibraryReader(t *testing.T) {
	log.SetOutput(&bytes.Buffer{})
	defer log.SetOutput(os.Stderr)
	for name, how := range forms() {
		if how.NoMeta || how.NoPreamble {
			continue // it guesses there
		}
		t.Run(name, func(t *testing.T) {
			b := dcmtest.Encode(smallReport(), how)
			f, err := dcm.ReadBytes(b)
			if err != nil {
				t.Fatal(err)
			}
			reference, err := dicom.Parse(bytes.NewReader(b), int64(len(b)), nil)
			if err != nil {
				t.Fatal(err)
			}
			ours := append(slices.Clone(f.Meta.Elements), f.Dataset.Elements...)
			compareElements(t, dcm.New(ours...), reference.Elements)
		})
	}
}

func compareElements(t *testing.T, ours dcm.Dataset, theirs []*dicom.Element) {
	t.Helper()
	if len(ours.Elements) != len(theirs) {
		t.Fatalf("%d elements, the library %d", len(ours.Elements), len(theirs))
	}
	for i := range theirs {
		e, other := &ours.Elements[i], theirs[i]
		if e.Tag != dcm.Tag(other.Tag) || e.VR() != other.RawValueRepresentation {
			t.Fatalf("%s %s, the library %s %s", e.Tag, e.VR(), other.Tag, other.RawValueRepresentation)
		}
		switch want := other.Value.GetValue().(type) {
		case []*dicom.SequenceItemValue:
			list := ours.Sequence(e.Tag)
			if len(list) != len(want) {
				t.Fatalf("%s: %d items, the library %d", e.Tag, len(list), len(want))
			}
			for k, item := range list {
				compareElements(t, item, want[k].GetValue().([]*dicom.Element))
			}
		case []string: // the library keeps padding, and splits texts
			got := ours.Texts(e.Tag)
			if want := strings.Split(strings.Trim(strings.Join(want, `\`), " \x00"), `\`); !strings.Contains("LT ST UT UR", e.VR()) && !slices.Equal(got, trimmed(want)) ||
				strings.Contains("LT ST UT UR", e.VR()) && strings.Join(got, "") != strings.Join(want, `\`) {
				t.Errorf("%s: %q, the library %q", e.Tag, got, want)
			}
		case []int:
			if got := ours.Ints(e.Tag); !slices.EqualFunc(got, want, func(a int64, b int) bool { return a == int64(b) }) {
				t.Errorf("%s: %v, the library %v", e.Tag, got, want)
			}
		case []float64:
			if got := ours.Floats(e.Tag); !slices.Equal(got, want) {
				t.Errorf("%s: %v, the library %v", e.Tag, got, want)
			}
		case []byte:
			if got := ours.Bytes(e.Tag); !bytes.Equal(got, want) {
				t.Errorf("%s: %v, the library %v", e.Tag, got, want)
			}
		default:
			t.Errorf("%s: the library has %T", e.Tag, want)
		}
	}
}

// trimmed takes off the padding; a single empty value is none.
func trimmed(values []string) []string {
	for i := range values {
		values[i] = strings.Trim(values[i], " \x00")
	}
	if len(values) == 1 && values[0] == "" {
		return nil
	}
	return values
}
