package check_test

import (
	"slices"
	"testing"

	"echotally/internal/finding"
	"echotally/internal/library"

	"echotally/internal/echo"
	"echotally/rules"
)

// A protocol made for adults holds for no child, by its numbers or by the
// words of the report; when the age is not known it holds.
func TestProtocolsOfAdultsAreNotForChildren(t *testing.T) {
	set, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	ten, sixty := 10.0, 60.0
	for _, tt := range []struct {
		name      string
		age       *float64
		base      string
		triggered bool
	}{
		{"a child", &ten, "paediatric", false},
		{"an adult", &sixty, "comprehensive", true},
		{"age not recorded", nil, "comprehensive", true},
	} {
		s := &echo.Study{Subject: echo.Subject{AgeYears: tt.age}, Statements: []echo.Statement{
			{Identifier: "comprehensive-study", Quote: "Comprehensive study."}, {Identifier: "aortic-stenosis-severe", Quote: "Severe aortic stenosis."}, {Identifier: "aortic-stenosis", Quote: "Severe aortic stenosis."},
		}}
		chosen, _ := put(set, s)
		triggered := slices.ContainsFunc(chosen.Triggered, func(c finding.Chosen) bool { return c.Identifier == "aortic-stenosis" })
		if chosen.Base.Identifier != tt.base || triggered != tt.triggered {
			t.Errorf("%s: %s, triggered %v", tt.name, chosen.Base.Identifier, chosen.Triggered)
		}
	}
}
