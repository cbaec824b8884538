package world

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// reread recomputes EF, body surface and age from the files alone, with codes
// and units looked up by a reader that shares no line with this module.
const reread = `
import sys, math, glob, pydicom
EDV, ESV, EF = {"18026-5", "79996-5"}, {"18148-7", "80001-1"}, {"18043-0", "79991-6"}
pre = {"79996-5", "80001-1", "79991-6"}
def code(seq): return seq[0].CodeValue
def walk(ds):
    for it in ds.get("ContentSequence", []):
        yield it
        yield from walk(it)
def num(it):
    return float(it.MeasuredValueSequence[0].NumericValue) if len(it.MeasuredValueSequence) else None
ef = bsa = age = 0
for f in sorted(glob.glob(sys.argv[1] + "/*.dcm")):
    ds = pydicom.dcmread(f)
    got = {}
    for it in walk(ds):
        if it.ValueType != "NUM" or it.get("RelationshipType") == "INFERRED FROM": continue
        c = code(it.ConceptNameCodeSequence)
        v = num(it)
        if v is None: continue
        u = it.MeasuredValueSequence[0].MeasurementUnitsCodeSequence[0].CodeValue
        mods = {code(k.ConceptCodeSequence) for k in it.get("ContentSequence", []) if k.ValueType == "CODE"}
        if u in ("ml", "mL", "%") and (c in pre or "125207" in mods):
            for name, s in (("edv", EDV), ("esv", ESV), ("ef", EF)):
                if c in s: got[name] = v
        if c == "8302-2": got["h"] = v * (100 if u == "m" else 1)
        if c == "29463-7": got["w"] = v
        if c == "8277-6":
            got["bsa"] = v
            got["form"] = code(it.ContentSequence[0].ConceptCodeSequence)
        if c == "121033": got["age"] = v
    if {"edv", "esv", "ef"} <= got.keys():
        ef += 1
        if abs(100 * (1 - got["esv"] / got["edv"]) - got["ef"]) > 2: sys.exit("EF " + f + str(got))
    h, w = got["h"], got["w"]
    want = math.sqrt(h * w / 3600) if got["form"] == "122244" else 0.007184 * w ** 0.425 * h ** 0.725
    bsa += 1
    if abs(want - got["bsa"]) > 0.02: sys.exit("BSA " + f + str(got))
    age += 1
    b, s = ds.PatientBirthDate, ds.StudyDate
    years = int(s[:4]) - int(b[:4]) - (s[4:] < b[4:])
    if years != got["age"]: sys.exit("age " + f + " " + b + " " + s + str(got))
print("EF", ef, "BSA", bsa, "age", age)`

func TestRereadClean(t *testing.T) {
	py, dir := python(t), t.TempDir()
	for i, s := range Clean(41, 120) {
		for j, f := range s.Files {
			n := filepath.Join(dir, string(rune('a'+i/26))+string(rune('a'+i%26))+string(rune('0'+j))+f.Name)
			if err := os.WriteFile(n, f.Data, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	out, err := exec.Command(py, "-c", reread, dir).CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	t.Log(strings.TrimSpace(string(out)))
}
