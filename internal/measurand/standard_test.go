package measurand_test

import (
	"encoding/csv"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/measurand"
	"echotally/internal/term"
	"echotally/internal/ucum"
	"echotally/rules"
)

// table reads a CSV of testdata as one map per row.
func table(t *testing.T, elem ...string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join(elem...))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, cell := range row {
			m[rows[0][i]] = cell
		}
		out = append(out, m)
	}
	return out
}

// sectionSites is the finding site of the TID 5200 section a chapter of N.3
// stands for.
var sectionSites = map[string]string{
	"N.3.1": "15825003", "N.3.2": "34202007", "N.3.3": "87878005", "N.3.4": "87878005", "N.3.5": "87878005", "N.3.6": "87878005",
	"N.3.7": "87878005", "N.3.8": "87878005", "N.3.9": "91134007", "N.3.10": "122972007", "N.3.11": "82471001", "N.3.12": "53085002",
	"N.3.13": "39057004", "N.3.14": "46030003", "N.3.15": "73829009", "N.3.16": "9904008",
}

const (
	retrogradeFlow  = "SCT:312004007"
	regurgitantFlow = "SCT:397417004"
	peakSystolic    = "LN:11726-7"
	peakBlood       = "LN:20355-4"
)

// legacy maps an SCT number to the SNOMED identifiers files carried before.
func legacy(t *testing.T) map[string][]string {
	t.Helper()
	out := map[string][]string{}
	for _, row := range table(t, "..", "coding", "srt_to_sct.csv") {
		if row["sct"] != "" {
			out[row["sct"]] = append(out[row["sct"]], row["srt"])
		}
	}
	return out
}

// printed is a row of N.3 as a report may write it.
type printed struct {
	name      string
	concept   string   // SCHEME:value
	section   string   // finding site of the section
	modifiers []string // NAME=VALUE
}

// writings are the ways the row may stand in a file: as printed, with the
// other code of regurgitation, with the code that replaced Peak Systolic
// Velocity in 2024, and in legacy identifiers.
func writings(row map[string]string, old map[string][]string) []printed {
	as := printed{"as printed", row["scheme"] + ":" + row["code"], "SCT:" + sectionSites[row["section"]], nil}
	if row["modifiers"] != "" {
		as.modifiers = strings.Split(row["modifiers"], "; ")
	}
	out := []printed{as}
	if strings.Contains(row["modifiers"], retrogradeFlow) {
		other := as
		other.name, other.modifiers = "regurgitant flow", nil
		for _, m := range as.modifiers {
			other.modifiers = append(other.modifiers, strings.Replace(m, retrogradeFlow, regurgitantFlow, 1))
		}
		out = append(out, other)
	}
	if as.concept == peakSystolic {
		other := as
		other.name, other.concept = "peak blood velocity", peakBlood
		out = append(out, other)
	}
	for _, p := range slices.Clone(out) {
		before := p
		before.name += ", legacy identifiers"
		before.concept, before.section, before.modifiers = toLegacy(p.concept, old), toLegacy(p.section, old), nil
		for _, m := range p.modifiers {
			name, value, _ := strings.Cut(m, "=")
			before.modifiers = append(before.modifiers, name+"="+toLegacy(value, old))
		}
		out = append(out, before)
	}
	return out
}

// toLegacy returns the first legacy identifier of an SCT code, or the code.
func toLegacy(code string, old map[string][]string) string {
	value, ok := strings.CutPrefix(code, "SCT:")
	if !ok || len(old[value]) == 0 {
		return code
	}
	return "SRT:" + old[value][0]
}

// measurement builds what reading the row gives; unit is the canonical unit of
// the measurand that the row is about.
func (p printed) measurement(t *testing.T, unit ucum.Unit) *echo.Measurement {
	t.Helper()
	site := modifierOf(p.section)
	m := &echo.Measurement{ConceptName: conceptOf(p.concept), Unit: concept("UCUM", unit.Code(), ""), SectionSite: site}
	m.Modifiers.FindingSite = site
	for _, text := range p.modifiers {
		name, value, _ := strings.Cut(text, "=")
		if !setModifier(&m.Modifiers, name, modifierOf(value)) {
			t.Logf("%s is no modifier: the row reads as if it were not there", name)
		}
	}
	return m
}

func conceptOf(code string) coding.CodedConcept {
	scheme, value, _ := strings.Cut(code, ":")
	return concept(scheme, value, "")
}

func modifierOf(code string) *echo.Modifier {
	c := conceptOf(code)
	return modifier(c.CodingSchemeDesignator, c.CodeValue)
}

// setModifier sets the modifier that a concept of PS3.16 names.
func setModifier(m *echo.Modifiers, name string, value *echo.Modifier) bool {
	to := map[string]**echo.Modifier{
		"SCT:363698007": &m.FindingSite, "SCT:106233006": &m.TopographicalModifier, "SCT:399264008": &m.ImageMode,
		"DCM:111031": &m.ImageView, "SCT:260674002": &m.FlowDirection, "SCT:370129005": &m.MeasurementMethod,
		"SCT:272518008": &m.CardiacCyclePoint, "SCT:272517003": &m.RespiratoryCyclePoint, "DCM:121401": &m.Derivation,
		"DCM:125308": &m.MeasurementDivisor, "DCM:125307": &m.MeasuredProperty, "DCM:125306": &m.MeasurementType,
	}[name]
	if to == nil {
		return false
	}
	*to = value
	return true
}

func nameOf(d *measurand.Measurand) string {
	if d == nil {
		return "nothing"
	}
	return d.Identifier
}

// Every row of the standard's own mapping of echo concepts (PS3.17 2020, N.3)
// is the measurand a person takes it for, in the unit of that measurand. The
// rows marked as slip cannot be: what the standard prints there is the code of
// something else, and code and modifiers are all that identifies a measurement.
func TestMappingOfPS317N3(t *testing.T) {
	c, old := shipped(t), legacy(t)
	rows := table(t, "testdata", "ps3.17_n.3.csv")
	if len(rows) != 212 {
		t.Fatalf("%d rows, N.3 has 212", len(rows))
	}
	slips := 0
	for _, row := range rows {
		want := row["measurand"]
		intended := c.Find(want)
		if intended == nil {
			t.Errorf("%s %s: no measurand %s", row["section"], row["ase_concept"], want)
			continue
		}
		if row["slip"] != "" {
			slips++
			if want = row["printed_code_means"]; want == intended.Identifier {
				t.Errorf("%s %s is no slip", row["section"], row["ase_concept"])
			}
		}
		for _, p := range writings(row, old) {
			t.Run(strings.Join([]string{row["section"], row["ase_concept"], p.name}, " "), func(t *testing.T) {
				if got := nameOf(c.Name(p.measurement(t, intended.Unit))); got != want {
					t.Errorf("is %s, want %s (%s)", got, want, row["slip"])
				}
			})
		}
	}
	if slips != 3 {
		t.Errorf("%d rows excused as slips of the printed standard, reviewed were 3", slips)
	}
}

// The members of CID 12300 Core Echo Measurement (PS3.16 2026b) are
// pre-coordinated: the code alone names the measurand.
func TestCoreEchoMeasurements(t *testing.T) {
	c := shipped(t)
	rows := table(t, "testdata", "ps3.16_cid12300.csv")
	if len(rows) != 209 {
		t.Fatalf("%d rows, CID 12300 has 209 members", len(rows))
	}
	for _, row := range rows {
		m := &echo.Measurement{ConceptName: concept(row["scheme"], row["code"], row["meaning"])}
		if got := nameOf(c.Name(m)); got != row["measurand"] {
			t.Errorf("(%s, %s) %s is %s, want %s", row["code"], row["scheme"], row["meaning"], got, row["measurand"])
		}
	}
}

var emptyCodings = regexp.MustCompile(`(?m)^(.*)\n  codings: \[\]$`)

// There are at least 220 measurands, and one that no report can code says why.
func TestEveryMeasurandCanBeCodedOrSaysWhyNot(t *testing.T) {
	c := shipped(t)
	if len(c.Measurands) < 220 {
		t.Errorf("%d measurands", len(c.Measurands))
	}
	names, err := fs.Glob(rules.FS, "measurand/*.yaml")
	if err != nil {
		t.Fatal(err)
	}
	uncoded := 0
	for _, name := range names {
		text, err := fs.ReadFile(rules.FS, name)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range emptyCodings.FindAllSubmatch(text, -1) {
			uncoded++
			if !strings.HasPrefix(strings.TrimSpace(string(m[1])), "#") {
				t.Errorf("%s: after %q: no codings and no comment why", name, m[1])
			}
		}
	}
	for _, d := range c.Measurands {
		if len(d.Codings) == 0 {
			uncoded--
		}
	}
	if uncoded != 0 {
		t.Errorf("%d measurands without coding are written otherwise than codings: []", -uncoded)
	}
}

// The unit of a measurand has the dimension of what its codings name. The
// standard fixes no unit; testdata/concept_units.csv has the physical kind that
// the meaning of each code tells.
func TestUnitsFitTheConcepts(t *testing.T) {
	c := shipped(t)
	units := map[coding.Key][]ucum.Unit{}
	for _, row := range table(t, "testdata", "concept_units.csv") {
		u, err := ucum.Parse(row["unit"])
		if err != nil {
			t.Fatalf("%s: %v", row["code"], err)
		}
		k := concept(row["scheme"], row["code"], "").Key()
		units[k] = append(units[k], u)
	}
	checked := 0
	for _, d := range c.Measurands {
		for _, g := range d.Codings {
			divided := slices.ContainsFunc(g.Conditions, func(k measurand.Condition) bool { return k.Field == term.MeasurementDivisor })
			if g.Dimension != nil || divided || len(units[g.ConceptName]) == 0 {
				continue
			}
			checked++
			if !slices.ContainsFunc(units[g.ConceptName], d.Unit.Convertible) {
				t.Errorf("%s is in %s, %s in %s", d.Identifier, d.Unit, g.ConceptName, units[g.ConceptName])
			}
		}
	}
	if checked < 400 {
		t.Errorf("only %d codings checked", checked)
	}
}

// Repeatability stands where it was published, in a unit that can be compared.
func TestRepeatability(t *testing.T) {
	c := shipped(t)
	got := c.Find("tricuspid-regurgitation-peak-velocity").Repeatability
	if got == nil || got.Value != 3.8 || got.Unit.Code() != "%" || got.Kind != measurand.CoefficientOfVariation || !strings.Contains(got.Source, "RIGHT-NET") {
		t.Errorf("got %+v", got)
	}
	faults := map[string]string{
		`{value: 0, unit: "%", kind: cv, source: s}`:  "not above zero",
		`{value: 5, unit: "%", kind: cv}`:             "without source",
		`{value: 5, unit: mm, kind: cv, source: s}`:   "write it in %",
		`{value: 5, unit: mm, kind: sd, source: s}`:   "cannot be converted",
		`{value: 5, unit: "%", kind: rms, source: s}`: "cv or sd",
		`{value: 5, unit: mmHg, kind: sd, source: s}`: "did you mean mm[Hg]?",
	}
	for _, text := range slices.Sorted(maps.Keys(faults)) {
		_, err := load(t, files("- identifier: a\n  title: A\n  unit: m/s\n  repeatability: "+text+"\n  codings: []\n"))
		if err == nil || !strings.Contains(err.Error(), faults[text]) {
			t.Errorf("%s: %v, want %q", text, err, faults[text])
		}
	}
}

// spoken builds a measurement from "SCHEME:value", unit, section site and
// modifiers as NAME=VALUE, with the names of the measurand files.
func spoken(t *testing.T, c *measurand.Catalogue, code, unit, section string, modifiers ...string) *echo.Measurement {
	t.Helper()
	m := &echo.Measurement{ConceptName: conceptOf(code), Unit: concept("UCUM", unit, "")}
	find := func(field term.Field, name string) *echo.Modifier {
		found := c.Terms.Find(field, name)
		if found == nil {
			t.Fatalf("no %s term %s", field, name)
		}
		return modifier(found.Codes[0].CodingSchemeDesignator, found.Codes[0].CodeValue)
	}
	if section != "" {
		m.SectionSite = find(term.FindingSite, section)
		m.Modifiers.FindingSite = m.SectionSite
	}
	concepts := map[term.Field]string{
		term.FindingSite: "SCT:363698007", term.TopographicalModifier: "SCT:106233006", term.ImageMode: "SCT:399264008",
		term.ImageView: "DCM:111031", term.FlowDirection: "SCT:260674002", term.MeasurementMethod: "SCT:370129005",
		term.CardiacCyclePoint: "SCT:272518008", term.RespiratoryCyclePoint: "SCT:272517003", term.Derivation: "DCM:121401",
		term.MeasurementDivisor: "DCM:125308", term.MeasuredProperty: "DCM:125307",
	}
	for _, text := range modifiers {
		field, name, _ := strings.Cut(text, "=")
		if !setModifier(&m.Modifiers, concepts[term.Field(field)], find(term.Field(field), name)) {
			t.Fatalf("no field %s", field)
		}
	}
	return m
}
