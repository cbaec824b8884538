package measurand_test

import (
	"strings"
	"sync"
	"testing"
	"testing/fstest"

	"echotally/internal/measurand"
	"echotally/internal/term"
	"echotally/rules"
)

const testTerms = `window: {apical: {title: Apical, place: 1}}
findingSite:
  tricuspid-valve: {code: "SCT:46030003", title: Tricuspid valve}
  mitral-valve: {code: "SCT:91134007", title: Mitral valve}
flowDirection:
  antegrade: {code: "SCT:263677008", title: Antegrade flow}
  regurgitant: {codes: ["SCT:397417004", "SCT:312004007"], title: Regurgitant flow}
imageMode:
  continuous-wave-doppler: {code: "SCT:261198000", title: Doppler continuous wave}
`

const tricuspid = `- identifier: tricuspid-regurgitation-peak-velocity
  title: Peak velocity of tricuspid regurgitation
  short: TR Vmax
  unit: m/s
  counts: highest
  obtain: {window: apical, view: apical four-chamber, how: continuous wave through the jet}
  codings:
    - {conceptName: "LN:79921-3", source: "PS3.16 CID 12300"}
    - {conceptName: ["LN:11726-7", "LN:20355-4"], findingSite: tricuspid-valve, flowDirection: regurgitant, source: "PS3.17 N.3.14"}
- identifier: tricuspid-valve-peak-velocity
  title: Peak velocity of tricuspid inflow
  unit: cm/s
  codings:
    - {conceptName: ["LN:11726-7", "LN:20355-4"], findingSite: tricuspid-valve, flowDirection: [antegrade, absent], source: "PS3.17 N.3.14"}
- identifier: stroke-volume
  title: Stroke volume
  unit: mL
  codings:
    - {conceptName: "SCT:90096001", source: "PS3.16 CID 12304"}
- identifier: stroke-volume-index
  title: Stroke volume index
  unit: mL/m2
  codings:
    - {conceptName: "SCT:90096001", dimension: mL/m2, source: "PS3.16 TID 5224"}
- identifier: any-jet
  title: Peak velocity by continuous wave
  unit: m/s
  codings:
    - {conceptName: "LN:11726-7", imageMode: continuous-wave-doppler, source: site choice}
    - {conceptName: "99X:S1", section: mitral-valve, source: site choice}
    - {conceptName: "99X:S1", section: absent, manufacturer: "Maker A", source: site choice}
`

func files(measurands string) fstest.MapFS {
	return fstest.MapFS{"terms.yaml": {Data: []byte(testTerms)}, "measurand/test.yaml": {Data: []byte(measurands)}}
}

func load(t testing.TB, layers ...fstest.MapFS) (*measurand.Catalogue, error) {
	t.Helper()
	terms, err := term.Load(layers[0])
	if err != nil {
		t.Fatal(err)
	}
	return measurand.Load(terms, asFS(layers)...)
}

func TestLoad(t *testing.T) {
	c, err := load(t, files(tricuspid))
	if err != nil {
		t.Fatal(err)
	}
	m := c.Find("tricuspid-regurgitation-peak-velocity")
	if m == nil || m.Short != "TR Vmax" || m.Unit.Code() != "m/s" || m.Counts != measurand.Highest || m.Structure != "test" ||
		m.Obtain == nil || m.Obtain.Window != "apical" || len(m.Codings) != 3 {
		t.Fatalf("got %+v", m)
	}
	sv := c.Find("stroke-volume")
	if sv.Short != sv.Title || sv.Counts != measurand.Last || sv.Obtain != nil {
		t.Errorf("defaults: %+v", sv)
	}
	for i := 1; i < len(c.Measurands); i++ {
		if c.Measurands[i-1].Identifier >= c.Measurands[i].Identifier {
			t.Error("not sorted")
		}
	}
	if c.Find("nothing") != nil {
		t.Error("found nothing")
	}
}

// Start from a valid entry and break one thing.
func TestFaults(t *testing.T) {
	const good = `- identifier: a-thing
  title: A thing
  unit: cm
  counts: last
  obtain: {window: apical}
  codings:
    - {conceptName: "DCM:1", findingSite: tricuspid-valve, source: site choice}
`
	if _, err := load(t, files(good)); err != nil {
		t.Fatal(err)
	}
	cases := []struct{ name, old, new, want, place string }{
		{"unknown unit", "unit: cm", "unit: furlong", `unit "furlong"`, ":3:9"},
		{"unit misspelled", "unit: cm", "unit: mmHg", "did you mean mm[Hg]?", ":3:9"},
		{"unknown term", "tricuspid-valve", "tricuspid-vlave", "did you mean tricuspid-valve?", ":7:"},
		{"unknown key", "findingSite:", "findingSight:", "did you mean findingSite?", ":7:"},
		{"unknown key of the entry", "counts:", "count:", "did you mean counts?", ":4:"},
		{"unknown counts", "counts: last", "counts: latest", "unknown word latest", ":4:11"},
		{"unknown sign", "counts: last", "sign: drop", "unknown word drop", ":4:9"},
		{"cut-off of another quantity", "counts: last", "cutOffs: [{title: A, value: 1, within: 1, unit: s, source: site choice}]", "s cannot be converted to cm", ":4:"},
		{"cut-off without source", "counts: last", "cutOffs: [{title: A, value: 1, within: 1, unit: cm}]", "without title or source", ":4:"},
		{"cut-off without width", "counts: last", "cutOffs: [{title: A, value: 1, unit: cm, source: site choice}]", "nothing is counted", ":4:"},
		{"unknown window", "window: apical", "window: apicl", "unknown window apicl", ":5:"},
		{"no title", "  title: A thing\n", "", "has no title", ":1:"},
		{"identifier form", "a-thing", "A thing", `identifier "A thing"`, ":1:"},
		{"code without scheme", "DCM:1", "1", `"1" is no code`, ":7:"},
		{"mistyped code", "DCM:1", "LN:79921-4", "wrong check digit", ":7:"},
		{"no source", ", source: site choice", "", "coding without source", ":7:"},
		{"no concept", `conceptName: "DCM:1", `, "", "coding without conceptName", ":7:"},
		{"empty condition", "findingSite: tricuspid-valve", "findingSite: []", "asks for nothing", ":7:"},
		{"dimension of another quantity", "findingSite: tricuspid-valve", "dimension: s", "s cannot be converted to cm", ":7:"},
		{"dimension misspelled", "findingSite: tricuspid-valve", "dimension: cm^2", "did you mean cm2?", ":7:"},
		{"list where one text is wanted", "source: site choice", "source: [a, b]", "source wants one text", ":7:"},
		{"duplicate key", "counts: last", "title: B", "title", ":4:"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			broken := strings.Replace(good, c.old, c.new, 1)
			if broken == good {
				t.Fatal("nothing broken")
			}
			_, err := load(t, files(broken))
			if err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), "measurand/test.yaml"+c.place) {
				t.Errorf("got %v, want %q at %s", err, c.want, c.place)
			}
		})
	}
}

func TestFaultsBetweenEntries(t *testing.T) {
	define := func(id, coding string) string {
		return "- identifier: " + id + "\n  title: T\n  unit: cm\n  codings:\n    - {" + coding + ", source: site choice}\n"
	}
	cases := []struct{ name, text, want string }{
		{"defined twice", define("a", `conceptName: "DCM:1"`) + define("a", `conceptName: "DCM:2"`), "measurand a is defined twice"},
		{"one code, two measurands", define("a", `conceptName: "DCM:1"`) + define("b", `conceptName: "DCM:1"`), "DCM:1 is coded for a as well"},
		{"the same code by another name", define("a", `conceptName: "SRT:T-32600"`) + define("b", `conceptName: "SCT:87878005"`), "SCT:87878005 is coded for a as well"},
		{"overlapping lists", define("a", `conceptName: "DCM:1", flowDirection: [antegrade, absent]`) + define("b", `conceptName: "DCM:1", flowDirection: [regurgitant, antegrade]`), "coded for a as well"},
		{"both absent", define("a", `conceptName: "DCM:1", flowDirection: absent`) + define("b", `conceptName: "DCM:1", flowDirection: [regurgitant, absent]`), "coded for a as well"},
		{"two ways to the same dimension", define("a", `conceptName: "DCM:1", dimension: cm`) + define("b", `conceptName: "DCM:1", dimension: mm`), "coded for a as well"},
		{"different terms", define("a", `conceptName: "DCM:1", flowDirection: antegrade`) + define("b", `conceptName: "DCM:1", flowDirection: regurgitant`), ""},
		{"one asks for more", define("a", `conceptName: "DCM:1"`) + define("b", `conceptName: "DCM:1", flowDirection: regurgitant`), ""},
		{"two makers", define("a", `conceptName: "99X:1", manufacturer: A`) + define("b", `conceptName: "99X:1", manufacturer: B`), ""},
		{"two labels", define("a", `conceptName: "DCM:1", shortLabel: A`) + define("b", `conceptName: "DCM:1", shortLabel: B`), ""},
		{"two sections", define("a", `conceptName: "DCM:1", section: mitral-valve`) + define("b", `conceptName: "DCM:1", section: tricuspid-valve`), ""},
		{"codings for nothing", "- identifier: a-thing\n  codings: []\n", "unknown measurand a-thing"},
		{"unit forgotten", "- identifier: a-thing\n  title: A\n", "has no unit"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			_, err := load(t, files(c.text))
			if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
				t.Errorf("got %v, want %q", err, c.want)
			}
		})
	}
}

// A site adds codings to a measurand of ours and measurands of its own; it
// cannot take a code from us unseen.
func TestSiteLayer(t *testing.T) {
	site := func(text string) fstest.MapFS { return fstest.MapFS{"measurand/site.yaml": {Data: []byte(text)}} }
	c, err := load(t, files(tricuspid), site(`
- {identifier: stroke-volume, codings: [{conceptName: "99X:SV", source: site choice}]}
- {identifier: stroke-volume, codings: [{conceptName: "99X:SV2", source: site choice}]}
- {identifier: ours, title: Ours, unit: cm, codings: [{conceptName: "99X:O", source: site choice}]}
`))
	if err != nil {
		t.Fatal(err)
	}
	if n := len(c.Find("stroke-volume").Codings); n != 3 {
		t.Errorf("%d codings", n)
	}
	if c.Find("stroke-volume").Structure != "test" || c.Find("ours").Structure != "site" {
		t.Error("structure is not that of the defining file")
	}
	for text, want := range map[string]string{
		`- {identifier: ours, title: Ours, unit: mL, codings: [{conceptName: "SCT:90096001", source: site choice}]}`: "coded for stroke-volume as well",
		`- {identifier: stroke-volume, title: Other, unit: L, codings: []}`:                                          "defined twice",
		`- {identifier: stroke-volum, codings: [{conceptName: "99X:SV", source: site choice}]}`:                      "did you mean stroke-volume?",
	} {
		if _, err := load(t, files(tricuspid), site(text)); err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "measurand/site.yaml:1:") {
			t.Errorf("got %v, want %q", err, want)
		}
	}
	for _, empty := range []fstest.MapFS{{}, site("# nothing yet\n")} {
		if _, err := load(t, files(tricuspid), empty); err != nil {
			t.Errorf("empty site layer: %v", err)
		}
	}
}

// The shipped files load without a fault and are at least as many as promised.
func TestShippedFiles(t *testing.T) {
	c := shipped(t)
	if len(c.Measurands) < 220 {
		t.Errorf("only %d measurands", len(c.Measurands))
	}
}

// loadShipped reads the shipped files once for all tests; a catalogue is never
// changed after loading.
var loadShipped = sync.OnceValues(func() (*measurand.Catalogue, error) {
	terms, err := term.Load(rules.FS)
	if err != nil {
		return nil, err
	}
	return measurand.Load(terms, rules.FS)
})

func shipped(t testing.TB) *measurand.Catalogue {
	t.Helper()
	c, err := loadShipped()
	if err != nil {
		t.Fatal(err)
	}
	return c
}
