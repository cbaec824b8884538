package check_test

import (
	"strings"
	"testing"

	"echotally/internal/coding"
	"echotally/internal/finding"
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
		m.ConceptName = coding.CodedConcept{CodeValue: "4711", CodingSchemeDesignator: "99MAKER", CodeMeaning: c.meaning}
		m.Unit = coding.CodedConcept{CodeValue: strings.Fields(c.unit)[1], CodingSchemeDesignator: "UCUM"}
		got := outcome(rule, study(m))
		if got.Outcome != c.want || (c.want == finding.Open) != strings.Contains(got.Message, "99MAKER") {
			t.Errorf("%s in %s: %s, %q", c.meaning, c.unit, got.Outcome, got.Message)
		}
	}
}
