package world

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// sample writes a few hundred files of all sorts and returns their paths.
func sample(t *testing.T, dir string) []string {
	t.Helper()
	var out []string
	put := func(s Study, tag string) {
		for _, f := range s.Files {
			p := filepath.Join(dir, tag+"_"+f.Name)
			if err := os.WriteFile(p, f.Data, 0o644); err != nil {
				t.Fatal(err)
			}
			out = append(out, p)
		}
	}
	for i, s := range Clean(21, 96) {
		put(s, fmt.Sprintf("c%03d", i))
	}
	for i, p := range Slips(22, len(slipKinds)) {
		put(p.Slipped, fmt.Sprintf("s%03d", i))
	}
	for i, p := range Gaps(23, len(gapKinds)) {
		put(p.Slipped, fmt.Sprintf("g%03d", i))
	}
	return out
}

// TestDcmtk: dcmdump and dsrdump, which nobody of this module wrote, accept
// every file. Each reads them all at once: it reads its dictionary at every start.
func TestDcmtk(t *testing.T) {
	files := sample(t, t.TempDir())
	for tool, heading := range map[string]string{"dcmdump": "+F", "dsrdump": "+Pf"} {
		path, err := exec.LookPath(tool)
		if err != nil {
			t.Skipf("%s is not installed", tool)
		}
		var stderr bytes.Buffer
		cmd := exec.Command(path, append([]string{heading}, files...)...)
		cmd.Stderr = &stderr
		out, err := cmd.StdoutPipe()
		if err != nil || cmd.Start() != nil {
			t.Fatal(tool, "does not start: ", err)
		}
		met, printed := 0, 500 // bytes of the file met last
		for lines := bufio.NewScanner(out); lines.Scan(); {
			line := lines.Text()
			printed += len(line)
			if strings.Contains(line, fmt.Sprintf("%s (%d/%d): ", tool, met+1, len(files))) {
				if printed < 500 || !strings.HasSuffix(line, files[met]) {
					t.Errorf("%s prints little before %s", tool, line)
				}
				met, printed = met+1, 0
			} else if tool == "dsrdump" && strings.Contains(line, "invalid") {
				t.Errorf("dsrdump, file %d: %s", met, line)
			}
		}
		if err := cmd.Wait(); err != nil || strings.Contains(stderr.String(), "E:") || met != len(files) || printed < 500 {
			t.Errorf("%s: %d of %d files, %v %s", tool, met, len(files), err, stderr.String())
		}
		t.Logf("%s read %d files", tool, len(files))
	}
}

// walker follows a position path in a file and prints code and value there.
const walker = `
import io, json, sys, pydicom
def at(ds, path):
    for p in [int(x) for x in path.split(".")[1:]]:
        ds = ds.ContentSequence[p - 1]
    return ds
out, last, ds = [], None, None
for q in json.load(sys.stdin):
    if q["file"] != last:
        last, ds = q["file"], pydicom.dcmread(io.BytesIO(open(q["file"], "rb").read()))
    if not q["path"]:
        g, e = q["code"].strip("()").split(",")
        el = ds[int(g, 16), int(e, 16)]
        out.append({"code": q["code"], "value": str(el.value), "unit": ""})
        continue
    it = at(ds, q["path"])
    r = {"code": it.ConceptNameCodeSequence[0].CodeValue, "value": "", "unit": ""}
    if it.ValueType == "NUM" and len(it.MeasuredValueSequence):
        m = it.MeasuredValueSequence[0]
        r["value"] = m[0x0040, 0xa30a].value.original_string if hasattr(m.NumericValue, "original_string") else str(m.NumericValue)
        r["unit"] = m.MeasurementUnitsCodeSequence[0].CodeValue
    elif it.ValueType == "CODE":
        r["value"] = it.ConceptCodeSequence[0].CodeValue
    elif it.ValueType == "TEXT":
        r["value"] = it.TextValue
    elif it.ValueType == "DATE":
        r["value"] = str(it.Date)
    out.append(r)
json.dump(out, sys.stdout)
`

type query struct {
	File string `json:"file"`
	Path string `json:"path"`
	Code string `json:"code"`
}

type answer struct{ Code, Value, Unit string }

func python(t *testing.T) string {
	t.Helper()
	py := "/usr/bin/python3"
	if exec.Command(py, "-c", "import pydicom").Run() != nil {
		t.Skip("python3 with pydicom is not installed")
	}
	return py
}

func ask(t *testing.T, qs []query) []answer {
	t.Helper()
	in, _ := json.Marshal(qs)
	cmd := exec.Command(python(t), "-c", walker)
	cmd.Stdin = bytes.NewReader(in)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("pydicom: %v %s", err, stderr.String())
	}
	var as []answer
	if err := json.Unmarshal(out, &as); err != nil {
		t.Fatal(err)
	}
	return as
}

// TestTruthByPydicom: at the place the truth names, an independent reader
// finds the written value in the slipped study and the true one in the twin.
func TestTruthByPydicom(t *testing.T) {
	python(t)
	dir := t.TempDir()
	var qs []query
	var want []ItemRef
	for i, p := range Slips(31, len(slipKinds)) {
		var names []string
		for j, f := range p.Slipped.Files {
			n := filepath.Join(dir, fmt.Sprintf("%03d_%d.dcm", i, j))
			if err := os.WriteFile(n, f.Data, 0o644); err != nil {
				t.Fatal(err)
			}
			names = append(names, n)
		}
		for _, a := range p.Slipped.Truth.Altered {
			qs = append(qs, query{names[a.Doc], a.Path, a.Code})
			want = append(want, a)
		}
	}
	for i, g := range ask(t, qs) {
		w := want[i]
		num := w.Scheme == "attribute" && strings.HasPrefix(w.Meaning, "Patient's") && !strings.Contains(w.Meaning, "Name")
		if g.Code != w.Code || g.Value != w.Written && !num || !num && g.Unit != w.Unit {
			t.Errorf("%s %s: pydicom reads %+v, truth %+v", qs[i].File, w.Key, g, w)
		}
	}
	t.Logf("%d places checked", len(qs))
}

// TestPydicomReads: every file opens and its text decodes by the declared set.
func TestPydicomReads(t *testing.T) {
	py := python(t)
	files := sample(t, t.TempDir())
	script := `
import io, sys, pydicom
n = 0
def walk(ds):
    global n
    for it in ds.get("ContentSequence", []):
        n += 1
        if it.ValueType == "TEXT" and "\ufffd" in it.TextValue: sys.exit("bad text")
        it.ConceptNameCodeSequence[0].CodeValue
        walk(it)
for f in sys.stdin.read().split():
    ds = pydicom.dcmread(io.BytesIO(open(f, "rb").read()))
    str(ds.PatientName)
    walk(ds)
print(n)`
	cmd := exec.Command(py, "-c", script)
	cmd.Stdin = strings.NewReader(strings.Join(files, "\n"))
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	t.Logf("%d files, %s content items", len(files), strings.TrimSpace(string(out)))
}
