package check_test

import (
	"strings"
	"testing"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/ucum"
)

// A value under a code that nothing names, but whose words and unit are those of
// a measurand, may be that: it is not called missing.
func TestUnknownCodeIsNotAbsence(t *testing.T) {
	rule := load(t, "completeness", "measurands: {x: ra-pressure}\nrequire: \"present(x)\"\n")
	for _, c := range []struct {
		meaning, unit string
		want          finding.Outcome
	}{
		{"RA pressure", "8 mm[Hg]", finding.Open},
		{"RA pressure", "8 cm", finding.Fail},
		{"Something else", "8 mm[Hg]", finding.Fail},
	} {
		m := measured(t, "", "8 mm[Hg]")
		if u, err := ucum.Parse(strings.Fields(c.unit)[1]); err == nil { // as it is read
			m.Quantity.Unit = u
		}
		m.ConceptName = coding.CodedConcept{CodeValue: "4711", CodingSchemeDesignator: "99MAKER", CodeMeaning: c.meaning}
		m.Unit = coding.CodedConcept{CodeValue: strings.Fields(c.unit)[1], CodingSchemeDesignator: "UCUM"}
		got := outcome(rule, study(m))
		if got.Outcome != c.want || (c.want == finding.Open) != strings.Contains(got.Message, "99MAKER") {
			t.Errorf("%s in %s: %s, %q", c.meaning, c.unit, got.Outcome, got.Message)
		}
	}
}

// What a private name clearly says is supposed to be that, and a contradiction
// then is for a person to look at; what fits, and what is only a note, is not told.
func TestPrivateNameIsSupposed(t *testing.T) {
	possible := "measurands: {x: ra-pressure}\nparameters: {high: {value: 40, unit: \"mm[Hg]\", origin: site choice, documentation: High.}}\nappliesTo: {when: present(x)}\nrequire: x <= high\n"
	for _, c := range []struct {
		body, kind, scheme, value string
		want                      finding.Outcome
	}{
		{possible, "consistency", "99MAKER", "80 mm[Hg]", finding.Review},
		{possible, "consistency", "99MAKER", "8 mm[Hg]", finding.NotApplicable},
		{possible, "consistency", "LN", "80 mm[Hg]", finding.NotApplicable},
		{possible, "completeness", "99MAKER", "80 mm[Hg]", finding.NotApplicable},
		{strings.Replace(possible, "require", "severityIf: [{when: x > high, severity: information}]\nrequire", 1), "consistency", "99MAKER", "80 mm[Hg]", finding.NotApplicable},
	} {
		rule := load(t, c.kind, c.body)
		m := measured(t, "", c.value)
		m.ConceptName = coding.CodedConcept{CodeValue: "4711", CodingSchemeDesignator: c.scheme, CodeMeaning: "RA pressure"}
		m.Unit = coding.CodedConcept{CodeValue: "mm[Hg]", CodingSchemeDesignator: "UCUM"}
		s := study(m)
		got := outcome(rule, s)
		if got.Outcome != c.want {
			t.Errorf("%s %s %s: %s, %q, want %s", c.kind, c.scheme, c.value, got.Outcome, got.Message, c.want)
		}
		if c.want == finding.Review && (got.Severity != finding.Information || !strings.HasPrefix(got.Message, "If (4711, 99MAKER") || got.Evidence[0].Measurement != &s.Measurements[0]) {
			t.Errorf("%s, %q, %v", got.Severity, got.Message, got.Evidence)
		}
	}
}

// What only a sentence could say is not called missing where no document holds
// one.
func TestWordsAreNotMissedWhereThereAreNone(t *testing.T) {
	for _, c := range []struct {
		severity string
		wordless bool
		want     finding.Outcome
	}{
		{"information", true, finding.Open}, {"information", false, finding.Fail}, {"warning", true, finding.Fail},
	} {
		rule := load(t, "completeness", "statements: {af: atrial-fibrillation}\nseverityIf: [{when: not mentioned(af), severity: "+c.severity+"}]\nrequire: mentioned(af)\n")
		s := study()
		s.Documents = []echo.Document{{Wordless: c.wordless}}
		if got := outcome(rule, s); got.Outcome != c.want {
			t.Errorf("%s, without words %t: %s, %q", c.severity, c.wordless, got.Outcome, got.Message)
		}
	}
	rule := load(t, "acquisition", "measurands: {x: tr-velocity}\nappliesTo: {when: present(x)}\nstatements: {af: atrial-fibrillation}\nseverityIf: [{when: present(x), severity: information}]\nrequire: mentioned(af) or noted(x, \"imageView\")\n")
	s := study(measured(t, "tr-velocity", "2.8 m/s"))
	s.Documents = []echo.Document{{Wordless: true}}
	if got := outcome(rule, s); got.Outcome != finding.Fail {
		t.Errorf("a modifier needs no sentence: %s, %q", got.Outcome, got.Message)
	}
}
