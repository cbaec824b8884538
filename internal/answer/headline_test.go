package answer

import (
	"strings"
	"testing"

	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/expr/message"
	"echotally/internal/library"
	"echotally/internal/measurand"
	"echotally/internal/rule"
	"echotally/internal/ucum"
	"echotally/rules"
)

// TestHeadlinesAreSaidAsPeopleSayThem writes values as scanners record them: in
// the unit of the trade, no digit more than is recorded, none so few that what
// differs looks the same.
func TestHeadlinesAreSaidAsPeopleSayThem(t *testing.T) {
	lib, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct{ tr, tapse, message, want string }{
		{"401.2 cm/s", "", "{title tr} {tr}, thrice that is {2 * tr + tr}.", "TR Vmax 4.01 m/s, thrice that is 12.04 m/s."},
		{"3.9872443213404 m/s", "", "{tr} lies beyond {reach}.", "3.99 m/s lies beyond 2.80 m/s."},
		{"2.9 m/s", "", "{tr}", "2.9 m/s"},
		{"", "1.69 cm", "{tapse}; at least {least}.", "16.9 mm; at least 17 mm."},
		{"", "2.4438 mm", "{tapse}", "2.4 mm"},
		{"", "8.04 mm", "{tapse}", "8 mm"},
		{"", "2.31 cm", "{tapse}, half of it {tapse / 2}", "23 mm, half of it 12 mm"},
		{"", "23.12 mm", "{tapse} and {tapse + least / 100}", "23.1 mm and 23.3 mm"},
	} {
		one := &rule.Rule{Parameters: map[string]*rule.Parameter{
			"reach": {Name: "reach", Value: written(t, "280 cm/s").Value, Unit: written(t, "280 cm/s").Unit},
			"least": {Name: "least", Value: written(t, "17 mm").Value, Unit: written(t, "17 mm").Unit},
		}}
		symbols := expr.Table{}
		scope := expr.Scope{Symbols: symbols}
		for name, p := range one.Parameters {
			symbols[name] = expr.Symbol{Unit: p.Unit}
		}
		study := &echo.Study{}
		for name, of := range map[string][2]string{"tr": {"tricuspid-regurgitation-peak-velocity", tt.tr}, "tapse": {"tricuspid-annular-plane-systolic-excursion", tt.tapse}} {
			m := lib.Measurands.Find(of[0])
			one.Adopt(&rule.Alias{Name: name, Measurands: []*measurand.Measurand{m}, Unit: m.Unit})
			symbols[name] = expr.Symbol{Unit: m.Unit, Set: true}
			if of[1] == "" {
				continue
			}
			q := written(t, of[1])
			canonical, err := m.Canonical(q)
			if err != nil {
				t.Fatal(err)
			}
			study.Measurements = append(study.Measurements, echo.Measurement{Measurand: m.Identifier, Role: echo.Result, Quantity: &q, Canonical: &canonical})
		}
		template, err := message.Compile(tt.message, scope)
		if err != nil {
			t.Fatal(err)
		}
		if got := Read(lib, study).To(one).Write(template); got != tt.want {
			t.Errorf("%s of %s%s: %q, want %q", tt.message, tt.tr, tt.tapse, got, tt.want)
		}
	}
}

// written reads a value with its unit.
func written(t *testing.T, text string) ucum.Quantity {
	t.Helper()
	number, code, _ := strings.Cut(text, " ")
	value, _, err := ucum.ParseDecimal(number)
	if err != nil {
		t.Fatal(err)
	}
	unit, err := ucum.Parse(code)
	if err != nil {
		t.Fatal(err)
	}
	return ucum.Quantity{Value: value, Unit: unit}
}
