package measurand_test

import (
	"encoding/csv"
	"os"
	"slices"
	"testing"

	"echotally/internal/echo"
	"echotally/internal/measurand"
	"echotally/internal/srtest"
	"echotally/internal/ucum"
)

// Names as scanners make them up, and the measurand a person would choose.
func TestSuggest(t *testing.T) {
	c := shipped(t)
	cases := []struct {
		meaning, label, unit string
		site                 string // SCT code of the section
		want                 string
	}{
		{"TR Vmax", "", "m/s", "46030003", "tricuspid-regurgitation-peak-velocity"},
		{"TR_MaxVel", "", "cm/s", "", "tricuspid-regurgitation-peak-velocity"},
		{"Tricuspid regurg. jet", "TR Vmax", "m/s", "", "tricuspid-regurgitation-peak-velocity"},
		{"TAPSE", "", "mm", "53085002", "tricuspid-annular-plane-systolic-excursion"},
		{"RVSP", "", "mm[Hg]", "", "right-ventricular-systolic-pressure"},
		{"Fraction de raccourcissement VD", "", "%", "", "right-ventricular-fractional-area-change"},
		{"Velocity index AV", "", "1", "", "aortic-valve-velocity-index"},
		{"Rel. wall thickness", "", "{ratio}", "87878005", "left-ventricular-relative-wall-thickness"},
		{"LVEF biplane", "", "%", "87878005", "left-ventricular-ejection-fraction-biplane"},
		{"IVSd", "", "cm", "87878005", "interventricular-septum-thickness-diastole"},
		{"E-prime septal", "", "cm/s", "91134007", "mitral-annular-velocity-e-prime-septal"},
	}
	for _, k := range cases {
		t.Run(k.meaning+" "+k.label, func(t *testing.T) {
			m := echo.Measurement{ConceptName: concept("99MAKER", "4711", k.meaning), ShortLabel: k.label, Unit: concept("UCUM", k.unit, "")}
			if k.site != "" {
				m.SectionSite = modifier("SCT", k.site)
			}
			got := c.Suggest(&m, 3)
			for _, s := range got {
				t.Logf("%.2f %s: %s", s.Score, s.Measurand.Identifier, s.Why)
			}
			if len(got) == 0 || got[0].Measurand.Identifier != k.want {
				t.Errorf("want %s first", k.want)
			}
		})
	}
}

// The meanings of CID 12300 under a private code, without unit or section:
// Suggest must find the measurand that the code itself names.
func TestSuggestFindsStandardMeanings(t *testing.T) {
	c := shipped(t)
	f, err := os.Open(srtest.Shared(t, "standard", "contextgroups.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	total, first, among := 0, 0, 0
	for _, row := range rows[1:] {
		if row[0] != "12300" {
			continue
		}
		named := c.Name(&echo.Measurement{ConceptName: concept(row[2], row[3], row[4])})
		if named == nil {
			continue // another test asks for that
		}
		total++
		m := echo.Measurement{ConceptName: concept("99MAKER", "1", row[4])}
		got := c.Suggest(&m, 5)
		at := slices.IndexFunc(got, func(s measurand.Suggestion) bool { return s.Measurand == named })
		if at == 0 {
			first++
		}
		if at >= 0 {
			among++
		} else {
			t.Logf("%s %q is %s; suggested %v", row[3], row[4], named.Identifier, identifiers(got))
		}
	}
	t.Logf("first %d, among five %d of %d", first, among, total)
	if total < 150 || among*10 < total*9 || first*10 < total*8 {
		t.Errorf("first %d, among five %d of %d", first, among, total)
	}
}

func identifiers(list []measurand.Suggestion) []string {
	var out []string
	for _, s := range list {
		out = append(out, s.Measurand.Identifier)
	}
	return out
}

func TestSuggestLimits(t *testing.T) {
	c := shipped(t)
	none := echo.Measurement{ConceptName: concept("99MAKER", "4711", "Blorp quux")}
	if got := c.Suggest(&none, 5); len(got) != 0 {
		t.Errorf("suggested %v", identifiers(got))
	}
	empty := echo.Measurement{}
	if got := c.Suggest(&empty, 5); len(got) != 0 {
		t.Errorf("suggested %v", identifiers(got))
	}
	wrong := echo.Measurement{ConceptName: concept("99MAKER", "4711", "TAPSE"), Unit: concept("UCUM", "mm[Hg]", "")}
	for _, s := range c.Suggest(&wrong, 5) {
		if !s.Measurand.Unit.Convertible(mustUnit(t, "mm[Hg]")) {
			t.Errorf("%s in mmHg", s.Measurand.Identifier)
		}
	}
	many := echo.Measurement{ConceptName: concept("99MAKER", "4711", "left ventricle")}
	got := c.Suggest(&many, 4)
	for i := range got {
		if got[i].Score < 0 || got[i].Score > 1 || i > 0 && got[i].Score > got[i-1].Score {
			t.Errorf("scores %v", got)
		}
	}
	if len(got) > 4 {
		t.Errorf("%d suggestions", len(got))
	}
}

func mustUnit(t *testing.T, code string) ucum.Unit {
	t.Helper()
	u, err := ucum.Parse(code)
	if err != nil {
		t.Fatal(err)
	}
	return u
}

// Site, flow and mode tell apart what has the same words: the case names what a
// person would choose first.
func TestSuggestGoesBySiteFlowAndMode(t *testing.T) {
	c := shipped(t)
	for _, k := range []struct{ meaning, unit, site, flow, want string }{
		{"Velocity ratio", "1", "34202007", "", "aortic-valve-velocity-index"},
		{"Velocity index", "1", "34202007", "", "aortic-valve-velocity-index"},
		{"Dimensionless index", "1", "34202007", "", "aortic-valve-velocity-index"},
		{"DVI", "{ratio}", "34202007", "", "aortic-valve-velocity-index"},
		{"Peak velocity", "m/s", "34202007", "", "aortic-valve-peak-velocity"},
		{"Peak velocity", "m/s", "46030003", "312004007", "tricuspid-regurgitation-peak-velocity"},
		{"Peak velocity", "m/s", "91134007", "312004007", "mitral-regurgitation-peak-velocity"},
		{"Mean gradient", "mm[Hg]", "91134007", "", "mitral-valve-mean-gradient"},
		{"Vena contracta", "mm", "46030003", "", "tricuspid-regurgitation-vena-contracta-width"},
	} {
		m := echo.Measurement{ConceptName: concept("99MAKER", "4711", k.meaning), Unit: concept("UCUM", k.unit, "")}
		m.Modifiers.FindingSite = modifier("SCT", k.site)
		if k.flow != "" {
			m.Modifiers.FlowDirection = modifier("SCT", k.flow)
		}
		got := c.Suggest(&m, 3)
		if len(got) == 0 || got[0].Measurand.Identifier != k.want {
			t.Errorf("%s at %s: want %s first", k.meaning, k.site, k.want)
			for _, s := range got {
				t.Logf("%.2f %s: %s", s.Score, s.Measurand.Identifier, s.Why)
			}
		}
	}
}

func TestSuggestionsSayHowSure(t *testing.T) {
	c := shipped(t)
	m := echo.Measurement{ConceptName: concept("99MAKER", "4711", "TAPSE"), Unit: concept("UCUM", "mm", "")}
	got := c.Suggest(&m, 5)
	if len(got) == 0 || got[0].Confidence != measurand.Sure {
		t.Fatalf("%+v", got)
	}
	for _, s := range got[1:] {
		if s.Confidence == measurand.Sure {
			t.Errorf("two are sure: %s", s.Measurand.Identifier)
		}
	}
	vague := echo.Measurement{ConceptName: concept("99MAKER", "4711", "left ventricle")}
	for _, s := range c.Suggest(&vague, 5) {
		if s.Confidence == measurand.Sure {
			t.Errorf("%s is sure by the name of a chamber", s.Measurand.Identifier)
		}
	}
}

// Only a private name whose words point at one measurand, and at no other nearly
// as well, probably is that.
func TestProbably(t *testing.T) {
	c := shipped(t)
	for _, k := range []struct{ scheme, meaning, unit, want string }{
		{"99MAKER", "TAPSE", "mm", "tricuspid-annular-plane-systolic-excursion"},
		{"99MAKER", "Masse VG indexée", "g/m2", "left-ventricular-mass-index"},
		{"99MAKER", "TAPSE", "m/s", ""},
		{"99MAKER", "S' tricuspide", "cm/s", ""},
		{"99MAKER", "Diameter", "mm", ""},
		{"LN", "TAPSE", "mm", ""},
	} {
		got := ""
		if d := c.Probably(&echo.Measurement{ConceptName: concept(k.scheme, "4711", k.meaning), Unit: concept("UCUM", k.unit, "")}); d != nil {
			got = d.Identifier
		}
		if got != k.want {
			t.Errorf("%s %s in %s: %q, want %q", k.scheme, k.meaning, k.unit, got, k.want)
		}
	}
}
