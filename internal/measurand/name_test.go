package measurand_test

import (
	"io/fs"
	"testing"
	"testing/fstest"

	"echotally/internal/coding"
	"echotally/internal/echo"
)

func asFS(layers []fstest.MapFS) []fs.FS {
	out := make([]fs.FS, len(layers))
	for i, l := range layers {
		out[i] = l
	}
	return out
}

func concept(scheme, value, meaning string) coding.CodedConcept {
	return coding.CodedConcept{CodeValue: value, CodingSchemeDesignator: scheme, CodeMeaning: meaning}
}

func modifier(scheme, value string) *echo.Modifier {
	c := concept(scheme, value, "")
	return &echo.Modifier{Concept: c.Standard(), Written: c, Level: echo.ItemLevel}
}

// peakVelocity is a measurement that none of the conditions has touched yet.
func peakVelocity() echo.Measurement {
	return echo.Measurement{
		ConceptName: concept("LN", "11726-7", "Peak Velocity"), ValueText: "2.9", Unit: concept("UCUM", "m/s", "m/s"), Role: echo.Result,
		Modifiers: echo.Modifiers{FindingSite: modifier("SCT", "46030003")},
	}
}

func TestName(t *testing.T) {
	c, err := load(t, files(tricuspid))
	if err != nil {
		t.Fatal(err)
	}
	cases := []struct {
		name   string
		change func(*echo.Measurement)
		want   string
	}{
		{"site alone: flow direction absent", func(m *echo.Measurement) {}, "tricuspid-valve-peak-velocity"},
		{"regurgitant flow", func(m *echo.Measurement) { m.Modifiers.FlowDirection = modifier("SCT", "397417004") }, "tricuspid-regurgitation-peak-velocity"},
		{"retrograde flow", func(m *echo.Measurement) { m.Modifiers.FlowDirection = modifier("SCT", "312004007") }, "tricuspid-regurgitation-peak-velocity"},
		{"legacy codes", func(m *echo.Measurement) {
			m.Modifiers.FindingSite, m.Modifiers.FlowDirection = modifier("SRT", "T-35100"), modifier("SNM3", "G-0367")
		}, "tricuspid-regurgitation-peak-velocity"},
		{"code of the later edition", func(m *echo.Measurement) { m.ConceptName.CodeValue = "20355-4" }, "tricuspid-valve-peak-velocity"},
		{"scheme spelled otherwise", func(m *echo.Measurement) { m.ConceptName.CodingSchemeDesignator = "LOINC" }, "tricuspid-valve-peak-velocity"},
		{"other site", func(m *echo.Measurement) { m.Modifiers.FindingSite = modifier("SCT", "91134007") }, ""},
		{"no site, but a mode", func(m *echo.Measurement) {
			m.Modifiers = echo.Modifiers{ImageMode: modifier("SCT", "261198000")}
		}, "any-jet"},
		{"most conditions win", func(m *echo.Measurement) { m.Modifiers.ImageMode = modifier("SCT", "261198000") }, "tricuspid-valve-peak-velocity"},
		{"pre-coordinated", func(m *echo.Measurement) { *m = echo.Measurement{ConceptName: concept("LN", "79921-3", "")} }, "tricuspid-regurgitation-peak-velocity"},
		{"meaning is no identity", func(m *echo.Measurement) { m.ConceptName = concept("LN", "12345-5", "Peak Velocity") }, ""},
		{"plain name, unit tells", func(m *echo.Measurement) {
			*m = echo.Measurement{ConceptName: concept("SRT", "F-32120", ""), Unit: concept("UCUM", "ml/m2", "")}
		}, "stroke-volume-index"},
		{"plain name, unit misspelled", func(m *echo.Measurement) {
			*m = echo.Measurement{ConceptName: concept("SRT", "F-32120", ""), Unit: concept("99X", "u7", "ml/m²")}
		}, "stroke-volume-index"},
		{"plain name, volume", func(m *echo.Measurement) {
			*m = echo.Measurement{ConceptName: concept("SRT", "F-32120", ""), Unit: concept("UCUM", "L", "")}
		}, "stroke-volume"},
		{"plain name, unit not understood", func(m *echo.Measurement) {
			*m = echo.Measurement{ConceptName: concept("SRT", "F-32120", ""), Unit: concept("99X", "u7", "?")}
		}, "stroke-volume"},
		{"section", func(m *echo.Measurement) {
			*m = echo.Measurement{ConceptName: concept("99X", "S1", ""), SectionSite: modifier("SCT", "91134007")}
		}, "any-jet"},
		{"other section", func(m *echo.Measurement) {
			*m = echo.Measurement{ConceptName: concept("99X", "S1", ""), SectionSite: modifier("SCT", "46030003"), Equipment: echo.Equipment{Manufacturer: "Maker A"}}
		}, ""},
		{"no section, maker", func(m *echo.Measurement) {
			*m = echo.Measurement{ConceptName: concept("99X", "S1", ""), Equipment: echo.Equipment{Manufacturer: "MAKER A "}}
		}, "any-jet"},
		{"no section, other maker", func(m *echo.Measurement) {
			*m = echo.Measurement{ConceptName: concept("99X", "S1", ""), Equipment: echo.Equipment{Manufacturer: "Maker B"}}
		}, ""},
	}
	for _, k := range cases {
		t.Run(k.name, func(t *testing.T) {
			m := peakVelocity()
			k.change(&m)
			got := ""
			if d := c.Name(&m); d != nil {
				got = d.Identifier
			}
			if got != k.want {
				t.Errorf("got %q, want %q", got, k.want)
			}
		})
	}
}

// A one-off caliper of TID 5303 carries the code of a property; only a coding
// that asks for its label names it.
func TestNameAdHoc(t *testing.T) {
	c, err := load(t, files(`- identifier: gap
  title: Coaptation gap
  unit: cm
  codings:
    - {conceptName: "SCT:410668003", shortLabel: TR gap, source: site choice}
- identifier: length
  title: Length
  unit: cm
  codings:
    - {conceptName: "SCT:410668003", source: site choice}
`))
	if err != nil {
		t.Fatal(err)
	}
	m := echo.Measurement{ConceptName: concept("SCT", "410668003", "Length"), AdHoc: true}
	if d := c.Name(&m); d != nil {
		t.Errorf("named %s", d.Identifier)
	}
	m.ShortLabel = " tr GAP"
	if d := c.Name(&m); d == nil || d.Identifier != "gap" {
		t.Errorf("got %v", d)
	}
	m.ShortLabel, m.AdHoc = "", false
	if d := c.Name(&m); d == nil || d.Identifier != "length" {
		t.Errorf("got %v", d)
	}
}

// Where codings fit equally, the order of the files decides: first ours, then
// the site's.
func TestNameFileOrder(t *testing.T) {
	first := `- identifier: by-site
  title: By site
  unit: m/s
  codings:
    - {conceptName: "LN:11726-7", findingSite: tricuspid-valve, source: site choice}
`
	second := `- identifier: by-mode
  title: By mode
  unit: m/s
  codings:
    - {conceptName: "LN:11726-7", imageMode: continuous-wave-doppler, source: site choice}
`
	m := peakVelocity()
	m.Modifiers.ImageMode = modifier("SCT", "261198000")
	for _, k := range []struct{ text, want string }{{first + second, "by-site"}, {second + first, "by-mode"}} {
		c, err := load(t, files(k.text))
		if err != nil {
			t.Fatal(err)
		}
		if d := c.Name(&m); d == nil || d.Identifier != k.want {
			t.Errorf("got %v, want %s", d, k.want)
		}
	}
	c, err := load(t, files(second), fstest.MapFS{"measurand/a.yaml": {Data: []byte(first)}})
	if err != nil {
		t.Fatal(err)
	}
	if d := c.Name(&m); d == nil || d.Identifier != "by-mode" {
		t.Errorf("got %v: the site's file came first", d)
	}
}

func BenchmarkName(b *testing.B) {
	c := shipped(b)
	m := peakVelocity()
	for b.Loop() {
		c.Name(&m)
	}
}
