package reference_test

import (
	"fmt"
	"io/fs"
	"math"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"

	"echotally/internal/measurand"
	"echotally/internal/reference"
	"echotally/internal/term"
	"echotally/rules"
)

func catalogue(t *testing.T, drafts bool, layers ...fs.FS) (*reference.Catalogue, error) {
	t.Helper()
	terms, err := term.Load(rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	known, err := measurand.Load(terms, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	return reference.Load(known, drafts, layers...)
}

// again computes z-scores a second time: a few lines of Python that read the
// coefficients from the file by themselves.
const again = `
import math, re, sys
text = open(sys.argv[1]).read()
form = re.search(r"form: (\S+)", text).group(1)
for line in text.splitlines():
    if "- {measurand" not in line: continue
    k = dict(p.split(": ") for p in line[line.index("{")+1:line.rindex("}")].split(", "))
    for y in (0.2, 1.0, 1.37, 4.0):
        for s in (0.2, 0.76, 1.9):
            g = lambda name: float(k[name])
            if form == "log-polynomial":
                mean = sum(g("b%d" % i) * s**i for i in range(4))
                z = (math.log(y) - mean) / g("mse")**0.5
            elif form == "indexed":
                z = (y / s**g("alpha") - g("mean")) / g("sd")
            else:
                z = (y - g("factor") * s**g("exponent") - g("offset")) / (g("sdOffset") + g("sdFactor") * s**g("sdExponent"))
            print(k["measurand"], y * {"mm": 1, "cm": 10}[k["unit"]], s, repr(z))
`

func TestZScoresAgainstASecondComputation(t *testing.T) {
	python := "/usr/bin/python3"
	if exec.Command(python, "-c", "import math").Run() != nil {
		t.Skip("python3 is not installed (Debian package python3): the z-scores are not computed a second time")
	}
	c, err := catalogue(t, true, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	compared := 0
	for _, table := range c.Tables {
		out, err := exec.Command(python, "-c", again, "../../rules/reference/"+table.Identifier+".yaml").Output()
		if err != nil {
			t.Fatal(err)
		}
		for _, line := range strings.Split(strings.TrimSpace(string(out)), "\n") {
			f := strings.Fields(line)
			var x [3]float64
			for i := range x {
				x[i], _ = strconv.ParseFloat(f[i+1], 64)
			}
			v := table.Find(f[0])
			if v == nil || v.Measurand.Unit.Code() != "mm" {
				t.Fatalf("%s of %s: no value in mm", f[0], table.Identifier)
			}
			if z := table.Z(v, x[0], x[1]); math.Abs(z-x[2]) > 1e-9*math.Max(1, math.Abs(x[2])) {
				t.Errorf("%s, %s: %g mm at %g m2 gives %g, the second computation %g", table.Identifier, f[0], x[0], x[1], z, x[2])
			}
			compared++
		}
	}
	if compared < 25*12 {
		t.Errorf("only %d compared", compared)
	}
}

// The definition of the form, and a value at the mean plus one deviation.
func TestForms(t *testing.T) {
	const head = `identifier: x
title: X
status: active
names: [X]
population: invented
relatedArtifact: {label: X, citation: "X, invented"}
origin: X
form: %s
values:
  - {measurand: aortic-annulus-diameter, unit: cm, %s}
`
	tests := []struct {
		form, coefficients string
		y, s, z            float64 // y in mm
	}{
		{"indexed", "alpha: 0.5, mean: 1.5, sd: 0.15", 10 * 1.65 * 0.8, 0.64, 1},
		{"indexed", "alpha: 0.5, mean: 1.5, sd: 0.15", 10 * 1.2 * 0.8, 0.64, -2},
		{"log-log", "intercept: 0.4, slope: 0.5, sd: 0.1", 10 * math.Exp(0.5) * 0.8, 0.64, 1},
		{"log-polynomial", "b0: -1, b1: 2, b2: -1, b3: 0.25, mse: 0.01", 10 * math.Exp(0.25-0.2), 1, -2},
		{"power", "offset: -0.5, factor: 2, exponent: 0.5, sdOffset: 0.1, sdFactor: 0.2, sdExponent: 0.5", 10 * (1.1 + 0.26), 0.64, 1},
	}
	for _, tt := range tests {
		layer := fstest.MapFS{"reference/x.yaml": {Data: []byte(fmt.Sprintf(head, tt.form, tt.coefficients))}}
		c, err := catalogue(t, false, layer)
		if err != nil {
			t.Fatal(err)
		}
		table := c.Tables[0]
		if z := table.Z(table.Find("aortic-annulus-diameter"), tt.y, tt.s); math.Abs(z-tt.z) > 1e-9 {
			t.Errorf("%s: z %g, want %g", tt.form, z, tt.z)
		}
	}
}

func TestDraftsRestAndSitesReplace(t *testing.T) {
	with, err := catalogue(t, true, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	without, err := catalogue(t, false, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	if len(with.Tables) <= len(without.Tables) || len(without.Tables) == 0 {
		t.Errorf("%d tables with drafts, %d without", len(with.Tables), len(without.Tables))
	}
	src, err := fs.ReadFile(rules.FS, "reference/pettersen-2008.yaml")
	if err != nil {
		t.Fatal(err)
	}
	site := fstest.MapFS{"reference/pettersen-2008.yaml": {Data: []byte(strings.Replace(string(src), "status: active", "status: retired", 1))}}
	left, err := catalogue(t, false, rules.FS, site)
	if err != nil || len(left.Tables) != len(without.Tables)-1 {
		t.Errorf("retired by the site: %d tables, %v", len(left.Tables), err)
	}
}

func TestNamed(t *testing.T) {
	c, err := catalogue(t, false, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]int{"Pettersen MD et al. 2008": 1, "Z-scores: DETROIT data": 1, "Pettersens Wert": 0, "PHN": 1, "Pediatric Heart Network, Haycock": 1, "Heart Network": 0, "Pettersen or Lopez": 2, "": 0, "Boston": 0} {
		if got := len(c.Named(text)); got != want {
			t.Errorf("%q names %d tables, want %d", text, got, want)
		}
	}
}

func TestFaultsOfATable(t *testing.T) {
	src, err := fs.ReadFile(rules.FS, "reference/pettersen-2008.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range [][3]string{
		{"status: active", "status: on", `status "on" is not known`},
		{"origin: Pettersen 2008", "origin: from memory", "nobody has confirmed"},
		{"origin: Pettersen 2008", "origin: somewhere", "numbers without an origin"},
		{"form: log-polynomial", "form: cubic", `form "cubic" is not known`},
		{"names: [Pettersen, Detroit]", "names: []", "no report could name"},
		{"identifier: pettersen-2008", "identifier: pettersen", "not the name of the file"},
		{"b3: 0.208, mse: 0.046", "b3: 0.208", "no mse"},
		{"b3: 0.208, mse: 0.046", "b3: 0.208, mse: 0", "not above zero"},
		{"b3: 0.208, mse: 0.046", "b3: some, mse: 0.046", "is not a number"},
		{"b3: 0.208, mse: 0.046", "b3: 0.208, mse: 0.046, b4: 1", "unknown key b4"},
		{"measurand: aortic-root-diameter", "measurand: aortic-root", "unknown measurand"},
		{"measurand: aortic-root-diameter", "measurand: aortic-annulus-diameter", "stands twice"},
		{"measurand: aortic-root-diameter, unit: cm", "measurand: aortic-root-diameter, unit: s", "is none of"},
		{"unit: a}", "unit: cm}", "not in a"},
	} {
		if !strings.Contains(string(src), tt[0]) {
			t.Fatalf("the table has no %q", tt[0])
		}
		layer := fstest.MapFS{"reference/pettersen-2008.yaml": {Data: []byte(strings.Replace(string(src), tt[0], tt[1], 1))}}
		if _, err := catalogue(t, false, layer); err == nil || !strings.Contains(err.Error(), tt[2]) {
			t.Errorf("%s: %v", tt[1], err)
		}
	}
	if _, err := catalogue(t, false, fstest.MapFS{"reference/x.yaml": {Data: []byte("{")}}); err == nil {
		t.Error("broken YAML is read")
	}
}
