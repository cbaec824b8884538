package check_test

import (
	"testing"

	"echotally/internal/echo"
	"echotally/internal/finding"
)

// What a modifier says of one measurement holds for that one alone: rhythm noted
// at the atrial pressure says nothing about the jet.
func TestStatementOfAnotherMeasurement(t *testing.T) {
	rule := load(t, "consistency", "measurands: {tr: tr-velocity}\nstatements: {af: atrial-fibrillation}\nrequire: \"present(tr) and mentioned(af)\"\n")
	ofStudy := load(t, "consistency", "statements: {af: atrial-fibrillation}\nrequire: \"mentioned(af)\"\n")
	s := states(study(measured(t, "tr-velocity", "2.8 m/s"), measured(t, "ra-pressure", "8 mm[Hg]")), "atrial-fibrillation")
	s.Measurements[0].Source = echo.Source{Item: "1.1"}
	s.Measurements[1].Source = echo.Source{Item: "1.2"}
	for _, c := range []struct {
		at          *echo.Source
		jet, wholly finding.Outcome
	}{
		{nil, finding.Pass, finding.Pass},
		{&echo.Source{Item: "1.1"}, finding.Pass, finding.Pass},
		{&echo.Source{Item: "1.2"}, finding.Fail, finding.Pass},
	} {
		s.Statements[0].Measurement = c.at
		if got := outcome(rule, s).Outcome; got != c.jet {
			t.Errorf("noted at %v: rule about the jet %s, want %s", c.at, got, c.jet)
		}
		if got := outcome(ofStudy, s).Outcome; got != c.wholly {
			t.Errorf("noted at %v: rule about the study %s, want %s", c.at, got, c.wholly)
		}
	}
}
