package extract_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/extract"
	"echotally/internal/measurand"
	"echotally/internal/sr"
	"echotally/internal/srtest"
	"echotally/internal/statement"
	"echotally/internal/term"
	"echotally/rules"
)

// catalogues loads the files that ship with the program.
func catalogues(t testing.TB) extract.Catalogues {
	t.Helper()
	terms, err := term.Load(rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	statements, err := statement.Load(terms, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	measurands, err := measurand.Load(terms, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	return extract.Catalogues{Measurands: measurands, Statements: statements}
}

func show(m *echo.Modifier) string {
	if m == nil {
		return "-"
	}
	return m.Concept.CodeMeaning + "/" + string(m.Level)
}

// The first NUM of each tree is looked at, unless "at" says which.
func TestModifiersAreInherited(t *testing.T) {
	site := func(indent, relationship, name string) string {
		return indent + relationship + " code SCT:363698007 = SCT:" + map[string]string{"tricuspid": "46030003", "mitral": "91134007", "annulus": "113259005"}[name] + " \"" + name + "\"\n"
	}
	tests := []struct {
		name, tree, at string
		want           string // site, laterality, mode, view
	}{
		{name: "all three levels", tree: "container DCM:125200\n  contains container DCM:121070\n" + site("    ", "mod", "tricuspid") +
			"    contains container DCM:125007\n      mod code SCT:399264008 = SCT:261198000 \"CW\"\n      contains num LN:11726-7 = 2.8 m/s\n        acq code DCM:111031 = SCT:399214001 \"A4C\"\n",
			want: "tricuspid/section -/- CW/group A4C/item"},
		{name: "the item wins", tree: "container DCM:125200\n  contains container DCM:121070\n" + site("    ", "mod", "tricuspid") +
			"    contains num LN:11726-7 = 2.8 m/s\n" + site("      ", "mod", "annulus"), want: "annulus/item -/- -/- -/-"},
		{name: "by CONTAINS and by HAS PROPERTIES", tree: "container DCM:125200\n  contains container DCM:121070\n" + site("    ", "contains", "tricuspid") +
			"    contains num LN:11726-7 = 2.8 m/s\n      props code SCT:399264008 = SCT:261198000 \"CW\"\n", want: "tricuspid/section -/- CW/item -/-"},
		{name: "from the document", tree: "container DCM:125200\n" + site("  ", "mod", "mitral") + "  contains num LN:11726-7 = 2.8 m/s\n", want: "mitral/document -/- -/- -/-"},
		{name: "laterality below the site", tree: "container DCM:125200\n  contains num LN:11726-7 = 2.8 m/s\n" + site("    ", "mod", "tricuspid") +
			"      mod code SCT:272741003 = SCT:24028007 \"Right\"\n", want: "tricuspid/item Right/item -/- -/-"},
		{name: "laterality of the section's site is not that of another", tree: "container DCM:125200\n  contains container DCM:121070\n" + site("    ", "mod", "mitral") +
			"      mod code SCT:272741003 = SCT:24028007 \"Right\"\n    contains num LN:11726-7 = 2.8 m/s\n" + site("      ", "mod", "annulus"), want: "annulus/item -/- -/- -/-"},
		{name: "laterality of the same site is kept", tree: "container DCM:125200\n  contains container DCM:121070\n" + site("    ", "mod", "mitral") +
			"      mod code SCT:272741003 = SCT:24028007 \"Right\"\n    contains num LN:11726-7 = 2.8 m/s\n" + site("      ", "mod", "mitral"), want: "mitral/item Right/section -/- -/-"},
		{name: "of two sites the one that says more", tree: "container DCM:125200\n  contains container DCM:121070\n" + site("    ", "mod", "mitral") +
			"    contains num LN:11726-7 = 2.8 m/s\n" + site("      ", "mod", "mitral") + site("      ", "mod", "annulus"), want: "annulus/item -/- -/- -/-"},
		{name: "a nested NUM inherits from the outer one", at: "1.1.2", tree: "container DCM:125200\n  contains num LN:11726-7 = 2.8 m/s\n" + site("    ", "mod", "tricuspid") +
			"    inferred num LN:20247-3 = 31 mm[Hg]\n", want: "tricuspid/item -/- -/- -/-"},
		{name: "legacy ids", tree: "container DCM:125200\n  contains num LN:11726-7 = 2.8 m/s\n    mod code SRT:G-C0E3 = SRT:T-35100 \"TV\"\n    acq code 99SDM:G-0373 = SNM3:R-409E3 \"CW\"\n",
			want: "TV/item -/- CW/item -/-"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			list := extract.Measurements(srtest.Document(t, tt.tree), extract.Catalogues{})
			i := 0
			if tt.at != "" {
				i = slices.IndexFunc(list, func(m echo.Measurement) bool { return m.Source.Item == tt.at })
			}
			m := list[i].Modifiers
			got := fmt.Sprintf("%s %s %s %s", show(m.FindingSite), show(m.Laterality), show(m.ImageMode), show(m.ImageView))
			got = strings.ReplaceAll(got+" ", "- ", "-/- ")
			if strings.TrimSpace(got) != tt.want {
				t.Errorf("got  %s\nwant %s", got, tt.want)
			}
		})
	}
}

func TestLegacyIdsBecomeCurrentOnes(t *testing.T) {
	list := extract.Measurements(srtest.Document(t, "container DCM:125200\n  contains num LN:11726-7 = 2.8 m/s\n    mod code SRT:G-C0E3 = SRT:T-35100 \"TV\"\n"), extract.Catalogues{})
	site := list[0].Modifiers.FindingSite
	if site.Concept.CodeValue != "46030003" || site.Concept.CodingSchemeDesignator != "SCT" || site.Written.CodeValue != "T-35100" {
		t.Errorf("concept %s, written %s", site.Concept, site.Written)
	}
}

func TestRoles(t *testing.T) {
	list := extract.Measurements(srtest.Document(t, `
container DCM:125200
  contains num LN:1 = 45 mm[Hg]
    inferred num LN:2 = 2.8 m/s
    inferred code DCM:121420 = DCM:121420
      props num LN:3 = 8 mm[Hg]
    props num SCT:371933006 "Normal Range Upper Limit" = 35 mm[Hg]
    props num DCM:121416 "Z-Score" = 2.1 1
    props num LN:4 = 5 mm[Hg]
  contains num LN:5 = 5 cm
`), extract.Catalogues{})
	want := []echo.Role{echo.Result, echo.Input, echo.Input, echo.Limit, echo.Statistic, echo.NestedResult, echo.Result}
	for i, m := range list {
		if m.Role != want[i] || (m.Parent != nil) != (want[i] != echo.Result) {
			t.Errorf("%s: role %s, nested %t", m.ConceptName, m.Role, m.Parent != nil)
		}
	}
}

func TestValuesAndTheirProblems(t *testing.T) {
	tests := []struct {
		value    string
		quantity string
		problems string
	}{
		{"2.80 m/s", "2.80 m/s", ""},
		{"4.2 cm fd 4.2141821355915", "4.2141821355915 cm", ""},
		{"4.2 cm fd 4.3", "4.2 cm", "representationsDiffer"},
		{"0.33 1 rational 1/3", "0.3333333333333333 1", ""},
		{"0.33 1 rational 1/0", "0.33 1", "representationsDiffer"},
		{`2.8\2.9 m/s`, "2.8 m/s", "severalValues"},
		{"- m/s DCM:114006", "", "noValue"},
		{"abc m/s", "", "valueNotNumber"},
		{"5 mmHg", "5 mm[Hg]", "unitAlias"},
		{"5 99X:furlong", "", "unitNotUnderstood"},
	}
	for _, tt := range tests {
		t.Run(tt.value, func(t *testing.T) {
			m := extract.Measurements(srtest.Document(t, "container DCM:125200\n  contains num LN:1 = "+tt.value), extract.Catalogues{})[0]
			got := ""
			if m.Quantity != nil {
				got = m.Quantity.Value.Text() + " " + m.Quantity.Unit.Code()
			}
			var kinds []string
			for _, p := range m.Problems {
				kinds = append(kinds, string(p.Kind))
			}
			if got != tt.quantity || strings.Join(kinds, " ") != tt.problems {
				t.Errorf("quantity %q, problems %v", got, m.Problems)
			}
		})
	}
}

func TestDuplicates(t *testing.T) {
	const num = "contains num LN:11726-7 = 2.8 m/s"
	tests := []struct {
		name, tree string
		duplicates int
	}{
		{"equal beats of one group", "  contains container DCM:125007\n    " + num + "\n    " + num, 0},
		{"one observation time in one group", "  contains container DCM:125007\n    " + num + " @20260102101500\n    " + num + " @20260102101500", 1},
		{"two observation times", "  contains container DCM:125007\n    " + num + " @20260102101500\n  contains container DCM:125007\n    " + num + " @20260102101501", 0},
		{"two groups", "  contains container DCM:125007\n    " + num + "\n  contains container DCM:125007\n    " + num, 1},
		{"one tracking UID in one group", "  contains container DCM:125007\n    " + num + "\n      obs uidref DCM:112040 = 2.25.9\n    " + num + "\n      obs uidref DCM:112040 = 2.25.9", 1},
		{"other tracking UIDs", "  contains container DCM:125007\n    " + num + "\n      obs uidref DCM:112040 = 2.25.9\n  contains container DCM:125007\n    " + num + "\n      obs uidref DCM:112040 = 2.25.8", 0},
		{"another view", "  contains container DCM:125007\n    " + num + "\n  contains container DCM:125007\n    " + num + "\n      acq code DCM:111031 = SCT:399214001", 0},
		{"another unit", "  contains container DCM:125007\n    " + num + "\n  contains container DCM:125007\n    contains num LN:11726-7 = 2.8 cm/s", 0},
		{"written differently", "  contains container DCM:125007\n    " + num + "\n  contains container DCM:125007\n    contains num LN:11726-7 = 2.80 m/s", 0},
		{"an input", "  contains container DCM:125007\n    " + num + "\n  contains container DCM:125007\n    contains num LN:1 = 1 cm\n      inferred num LN:11726-7 = 2.8 m/s", 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			n := 0
			for _, m := range extract.Measurements(srtest.Document(t, "container DCM:125200\n"+tt.tree), extract.Catalogues{}) {
				if m.DuplicateOf != nil {
					n++
				}
			}
			if n != tt.duplicates {
				t.Errorf("%d duplicates, want %d", n, tt.duplicates)
			}
		})
	}
}

func TestFetusIsNotThePatient(t *testing.T) {
	list := extract.Measurements(srtest.Document(t, `
container DCM:125196 "Fetal Cardiac Ultrasound Report"
  contains container DCM:125015 "Fetus Characteristics"
    obs code DCM:121024 "Subject Class" = DCM:121026 "Fetus"
    contains num LN:8867-4 = 140 /min
  contains num LN:8867-4 = 80 /min
`), extract.Catalogues{})
	if !list[0].Fetus || list[1].Fetus {
		t.Errorf("fetus %t, %t", list[0].Fetus, list[1].Fetus)
	}
}

// report is a one-number document of a study.
func report(t *testing.T, uid, time, headers, value string) *sr.Document {
	t.Helper()
	return srtest.Document(t, "header 00080018 = "+uid+"\nheader 00080023 = 20260102\nheader 00080033 = "+time+"\n"+headers+
		"\ncontainer DCM:125200\n  contains num LN:11726-7 = "+value+"\n  contains text DCM:121106 \"Comment\" = Sinus rhythm.")
}

func TestSupersession(t *testing.T) {
	tests := []struct {
		name string
		docs func(t *testing.T) []*sr.Document
		want string // per document in order: UID<-successor
	}{
		{"two reports stand side by side", func(t *testing.T) []*sr.Document {
			return []*sr.Document{report(t, "1.2", "11", "", "2 m/s"), report(t, "1.1", "10", "", "2 m/s")}
		}, "1.1<- 1.2<-"},
		{"predecessor document", func(t *testing.T) []*sr.Document {
			return []*sr.Document{report(t, "1.1", "10", "", "2 m/s"), report(t, "1.2", "11", "header 0040A360 = 1.1", "2 m/s")}
		}, "1.1<-1.2 1.2<-"},
		{"preliminary, then complete in one series", func(t *testing.T) []*sr.Document {
			return []*sr.Document{report(t, "1.1", "10", "header 0040A496 = PRELIMINARY", "2 m/s"), report(t, "1.2", "11", "", "2 m/s")}
		}, "1.1<-1.2 1.2<-"},
		{"partial, then complete in another series", func(t *testing.T) []*sr.Document {
			return []*sr.Document{report(t, "1.1", "10", "header 0040A491 = PARTIAL", "2 m/s"), report(t, "1.2", "11", "header 0020000E = 2.25.101", "2 m/s")}
		}, "1.1<- 1.2<-"},
		{"complete, then partial", func(t *testing.T) []*sr.Document {
			return []*sr.Document{report(t, "1.1", "10", "", "2 m/s"), report(t, "1.2", "11", "header 0040A491 = PARTIAL", "2 m/s")}
		}, "1.1<- 1.2<-"},
		{"each names the other", func(t *testing.T) []*sr.Document {
			return []*sr.Document{report(t, "1.1", "10", "header 0040A360 = 1.2", "2 m/s"), report(t, "1.2", "11", "header 0040A360 = 1.1", "2 m/s")}
		}, "1.1<- 1.2<-1.1"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := extract.Study(tt.docs(t), extract.Catalogues{})
			var got []string
			for _, d := range s.Documents {
				got = append(got, d.SOPInstanceUID+"<-"+d.SupersededBy)
				if (d.SupersededBy != "") != (d.SupersededReason != "") {
					t.Errorf("%s: reason %q", d.SOPInstanceUID, d.SupersededReason)
				}
			}
			if strings.Join(got, " ") != tt.want {
				t.Errorf("got %v, want %s", got, tt.want)
			}
			for i, m := range s.Measurements {
				if m.Superseded != (s.Documents[i].SupersededBy != "") || m.Superseded && m.DuplicateOf != nil {
					t.Errorf("measurement %d: superseded %t, duplicate %v", i, m.Superseded, m.DuplicateOf)
				}
			}
		})
	}
}

func TestStatementsOfAReport(t *testing.T) {
	doc := srtest.Document(t, `
header 00100040 = F
container DCM:125200
  contains container DCM:121060 "History"
    contains text DCM:121106 = Atrial fibrillation. Tricuspid valve repair 2019.
  contains container DCM:121109 "Indications for Procedure"
    contains code DCM:121109 = SCT:13213009 "Congenital heart disease"
  contains container DCM:121070 "Findings"
    mod code SCT:363698007 = SCT:373945007 "Pericardial effusion"
    contains code SCT:364074009 "Rhythm" = SCT:64730000 "Normal sinus rhythm"
    contains code 99LAB:R7 "TR severity" = 99LAB:S2 "Moderate"
    contains code SCT:373945007 "Pericardial effusion" = SCT:272519000 "Absent"
    contains code SCT:48724000 "Mitral regurgitation" = SCT:371923003 "Mild to moderate"
    contains code SCT:60234000 "Aortic regurgitation" = SCT:260413007 "None"
    contains container DCM:125007
      acq code DCM:111031 = SCT:399214001 "Apical four chamber"
      contains num LN:11726-7 = 2.8 m/s
        props text DCM:121106 "Comment" = Eccentric TR jet.
        props text DCM:125309 "Short Label" = TR Vmax
    contains text DCM:121071 "Finding" = Incomplete TR envelope in subcostal view.
    contains text DCM:121071 "Rhythm" = paced
`)
	s := extract.Study([]*sr.Document{doc}, catalogues(t))
	var got []string
	for _, st := range s.Statements {
		text := st.Identifier
		if st.Negated {
			text = "-" + text
		}
		if st.Measurement != nil {
			text += "^" + st.Measurement.Item
		}
		if st.ImageView != nil {
			text += "@" + st.ImageView.Concept.CodeValue
		}
		if st.FromCode {
			text += " (code)"
		}
		if !strings.HasPrefix(text, "-") || strings.HasPrefix(text, "-pericardial-effusion") && !strings.Contains(text, "absent") {
			got = append(got, text)
		}
	}
	want := []string{
		"tricuspid-repair", "indication-recorded", "sinus-rhythm (code)", "tricuspid-regurgitation-moderate", "tricuspid-regurgitation",
		"mitral-regurgitation (code)", "mitral-regurgitation-mild-to-moderate (code)", "aortic-regurgitation-absent (code)",
		"-pericardial-effusion (code)", "pericardial-effusion-absent (code)",
		"tricuspid-regurgitation-jet-eccentric^1.3.7.2@399214001", "tricuspid-regurgitation^1.3.7.2@399214001",
		"tricuspid-regurgitation-signal-incomplete@399310008", "tricuspid-regurgitation@399310008", "paced-rhythm",
	}
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func TestSubject(t *testing.T) {
	tests := []struct {
		name, header, tree string
		want               string
	}{
		{"header first", "header 00100040 = F\nheader 00101010 = 067Y\nheader 00101020 = 1.67\nheader 00101030 = 72.6\n",
			"  contains num DCM:121033 = 39 a", "F 67.0 1.67 72.6"},
		{"months", "header 00101010 = 018M\n", "", " 1.5 - -"},
		{"from the content", "", "  contains container DCM:121118\n    contains num DCM:121033 = 39 a\n    contains code DCM:121032 = DCM:M\n    contains num LN:8302-2 = 167 cm\n    contains num LN:29463-7 = 72600 g", "M 39.0 1.67 72.6"},
		{"from the birth date", "header 00100030 = 19600102\nheader 00080020 = 20260102\n", "", " 66.0 - -"},
		{"nothing entered", "header 00101020 = 0\nheader 00101030 = \n", "", " - - -"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := extract.Study([]*sr.Document{srtest.Document(t, tt.header+"container DCM:125200\n"+tt.tree)}, extract.Catalogues{}).Subject
			got := s.PatientSex
			if s.AgeYears == nil {
				got += " -"
			} else {
				got += fmt.Sprintf(" %.1f", *s.AgeYears)
			}
			if s.PatientSize == nil {
				got += " -"
			} else {
				got += fmt.Sprintf(" %.2f", s.PatientSize.Value.Float())
			}
			if s.PatientWeight == nil {
				got += " -"
			} else {
				got += fmt.Sprintf(" %.1f", s.PatientWeight.Value.Float())
			}
			if got != tt.want {
				t.Errorf("got %q, want %q", got, tt.want)
			}
		})
	}
}

// A measurand gives the canonical quantity; a unit that cannot be its own is a
// problem of the item.
func TestCanonicalQuantity(t *testing.T) {
	c := catalogues(t)
	tree := "container DCM:125200\n  contains container DCM:125301\n    contains num LN:79921-3 \"Tricuspid regurgitation Vmax\" = "
	m := extract.Measurements(srtest.Document(t, tree+"280 cm/s"), c)[0]
	if m.Measurand != "tricuspid-regurgitation-peak-velocity" || m.Canonical == nil || m.Canonical.Value.Float() != 2.8 || m.Canonical.Unit.Code() != "m/s" {
		t.Errorf("measurand %q, canonical %v", m.Measurand, m.Canonical)
	}
	m = extract.Measurements(srtest.Document(t, tree+"-280.0 cm/s"), c)[0]
	if m.Canonical == nil || m.Canonical.Value.Text() != "2.800" || m.Quantity.Value.Text() != "-280.0" || m.ValueText != "-280.0" {
		t.Errorf("flow away from the transducer: %v of %v", m.Canonical, m.Quantity)
	}
	m = extract.Measurements(srtest.Document(t, tree+"280 mm[Hg]"), c)[0]
	if m.Canonical != nil || !slices.ContainsFunc(m.Problems, func(p echo.Problem) bool { return p.Kind == echo.UnitWrongDimension }) {
		t.Errorf("wrong dimension: %v %v", m.Canonical, m.Problems)
	}
}

func TestCodesAreStandard(t *testing.T) {
	m := extract.Measurements(srtest.Document(t, "container DCM:125200\n  contains num SRT:G-0390 = 30 %"), extract.Catalogues{})[0]
	if want := (coding.Key{CodeValue: "399301000", CodingSchemeDesignator: "SCT"}); m.ConceptName.Key() != want {
		t.Errorf("%s", m.ConceptName)
	}
}
