package check_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"echotally/internal/library"

	"echotally/internal/echo"
	"echotally/internal/extract"
	"echotally/internal/finding"
	"echotally/internal/sr"
	"echotally/internal/srtest"
	"echotally/rules"
)

// childReport is a report after TID 5220 of a child of 110 cm and 19 kg, with
// an aortic annulus of 13.5 mm and a z-score, whose items may be replaced.
func childReport(t *testing.T, set *library.Library, score, body string) *echo.Study {
	t.Helper()
	doc := srtest.Document(t, `
header 00100040 = M
header 00101010 = 005Y
container DCM:125195 "Pediatric Cardiac Ultrasound Report"
  contains container DCM:121118 "Patient Characteristics"
`+body+`
  contains container DCM:121070 "Findings"
    mod code SCT:363698007 = SCT:15825003 "Aorta"
    contains container DCM:125007
      contains num LN:18016-6 = 13.5 mm
`+score)
	return extract.Study([]*sr.Document{doc}, extract.Catalogues{Measurands: set.Measurands, Statements: set.Statements})
}

const bodySize = `
    contains num LN:8302-2 = 110 cm
    contains num LN:29463-7 = 19 kg
    contains num LN:8277-6 = 0.76 m2`

// expected is the z-score of Pettersen 2008 for the aortic annulus, written out.
func expected(cm, area float64) float64 {
	return (math.Log(cm) - (-0.874 + 2.708*area - 1.841*area*area + 0.452*area*area*area)) / math.Sqrt(0.010)
}

func TestZScoresOfAReport(t *testing.T) {
	set, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	right := fmt.Sprintf("%.2f", expected(1.35, 0.76))
	line := func(z string, more ...string) string {
		return "        props num DCM:121416 \"Z-Score of measurement\" = " + z + " 1\n" + strings.Join(more, "\n") + "\n"
	}
	beside := func(who string) string { return "        props text DCM:121406 \"Reference Authority\" = " + who }
	exchanged := 0.024265 * math.Pow(110, 0.5378) * math.Pow(19, 0.3964) // Haycock with height for weight
	tests := []struct {
		name, score, body string
		outcome           finding.Outcome
		message, cause    string
	}{
		{"authority beside the z-score", line(right, beside("Pettersen 2008")), bodySize, finding.Pass, "", ""},
		{"authority as a code", line(right, `        props code DCM:121406 = 99LAB:Z1 "Pettersen, Detroit"`), bodySize, finding.Pass, "", ""},
		{"citation below the z-score", line(right, `          inferred text DCM:121421 "Equation Citation" = Pettersen MD et al. JASE 2008`), bodySize, finding.Pass, "", ""},
		{"population", line(right, `        props text DCM:121405 "Population description" = Detroit children`), bodySize, finding.Pass, "", ""},
		{"another table", line(fmt.Sprintf("%.2f", (1.35/math.Sqrt(0.76)-1.48)/0.14), beside("PHN")), bodySize, finding.Pass, "", ""},
		{"what another table gives", line(fmt.Sprintf("%.2f", (1.35/math.Sqrt(0.76)-1.48)/0.14), beside("Pettersen 2008")), bodySize, finding.Fail, "", "other-table"},
		{"no authority", line(right), bodySize, finding.Pass, "", ""},
		{"no authority, fits none", line("1.5"), bodySize, finding.Review, "z-score +1.5 stated, +0.49 by Lopez 2017, -0.19 by Pettersen 2008", ""},
		{"unknown authority", line("1.5", beside("Our own")), bodySize, finding.Open, "not among the tables", ""},
		{"wrong sign", line(fmt.Sprintf("%.2f", -expected(1.35, 0.76)), beside("Pettersen")), bodySize, finding.Fail, "z-score +0.19 stated", "sign"},
		{"decimal point", line("-1.9", beside("Pettersen")), bodySize, finding.Fail, "", "decimal-point"},
		{"values of the root", line(fmt.Sprintf("%.2f", (math.Log(1.35)-(-0.5+2.537*0.76-1.707*0.76*0.76+0.42*0.76*0.76*0.76))/math.Sqrt(0.012)), beside("Pettersen")), bodySize, finding.Fail, "", "other-site"},
		{"height and weight exchanged", line(fmt.Sprintf("%.2f", expected(1.35, exchanged)), beside("Pettersen")), bodySize, finding.Fail, "", "height-weight-exchanged"},
		{"no body size", line(right, beside("Pettersen")), "", finding.Open, "no body surface area", ""},
		{"z-score without a value", "        props num DCM:121416 = - 1 DCM:114006\n", bodySize, finding.Open, "no usable value", ""},
		{"z-score in millimetres", "        props num DCM:121416 = -0.19 mm\n", bodySize, finding.Open, "no plain number", ""},
		{"by itself", "      contains num DCM:121416 = -0.19 1\n", bodySize, finding.Open, "beside no measurement", ""},
		{"none", "", bodySize, finding.NotApplicable, "", ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, results := put(set, childReport(t, set, tt.score, tt.body))
			r := resultOf(t, results, "patient/z-score-from-its-table")
			if r.Outcome != tt.outcome || !strings.Contains(r.Message, tt.message) {
				t.Fatalf("%s: %s, want %s: %s", r.Outcome, r.Message, tt.outcome, tt.message)
			}
			if tt.cause != "" && (len(r.Causes) == 0 || r.Causes[0].Identifier != tt.cause) {
				t.Errorf("causes %v, want %s first", r.Causes, tt.cause)
			}
			if tt.outcome == finding.Open && len(r.Missing) == 0 {
				t.Error("open without saying what is missing")
			}
			if tt.outcome == finding.Fail && len(r.Evidence) < 2 {
				t.Errorf("evidence %v", r.Evidence)
			}
		})
	}
}

func TestOneWrongAmongSeveralZScores(t *testing.T) {
	set, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	const by = "        props text DCM:121406 = Pettersen\n"
	_, results := put(set, childReport(t, set, "        props num DCM:121416 = -0.19 1\n"+by+
		"      contains num LN:18020-8 \"Main Pulmonary Artery Diameter\" = 16.9 mm\n        props num DCM:121416 = 1.4 1\n"+by+
		"      contains num 99LAB:X9 \"Something\" = 9 mm\n        props num DCM:121416 = 0.1 1\n"+by, bodySize))
	r := resultOf(t, results, "patient/z-score-from-its-table")
	if r.Outcome != finding.Fail || !strings.Contains(r.Message, "MPA 16.9 mm") || !strings.Contains(r.Message, "1 more could not be told") {
		t.Errorf("%s: %s", r.Outcome, r.Message)
	}
}

func resultOf(t *testing.T, results []finding.Result, name string) finding.Result {
	t.Helper()
	for _, r := range results {
		if r.Rule == name {
			return r
		}
	}
	t.Fatalf("no result of %s", name)
	return finding.Result{}
}
