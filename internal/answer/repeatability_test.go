package answer

import (
	"math"
	"testing"

	"echotally/internal/library"

	"echotally/internal/echo"
	"echotally/internal/measurand"
	"echotally/internal/rule"
	"echotally/rules"
)

// TestRepeatabilityLimit takes the published spread of tricuspid velocity, 3.8 %
// (RIGHT-NET quality control): 2.77 × 3.8 % is 10.5 % of the value.
func TestRepeatabilityLimit(t *testing.T) {
	set, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	m := set.Measurands.Find("tricuspid-regurgitation-peak-velocity")
	alias := &rule.Alias{Name: "v", Measurands: []*measurand.Measurand{m}, Unit: m.Unit}
	limit := func(said ...string) float64 {
		s := &echo.Study{}
		for _, identifier := range said {
			s.Statements = append(s.Statements, echo.Statement{Identifier: identifier})
		}
		return (&Binding{Alias: alias, Chosen: Item{X: 3}, reading: Read(set, s)}).Repeatability()
	}
	if got := limit(); math.Abs(got-0.31578) > 1e-9 {
		t.Errorf("limit at 3 m/s: %v, want 0.316 m/s", got)
	}
	if got := limit("atrial-fibrillation"); math.Abs(got-0.47367) > 1e-9 {
		t.Errorf("limit in atrial fibrillation: %v, want half as much again", got)
	}
	if got := limit("sinus-rhythm"); math.Abs(got-0.31578) > 1e-9 {
		t.Errorf("limit in sinus rhythm: %v, want it not widened", got)
	}
}

// TestRangeOfMoreReadings holds the factors against the printed upper 5 % points
// of the studentized range at infinite degrees of freedom (Harter HL. Ann Math
// Statist 1960;31:1122, table 2), which have two decimals.
func TestRangeOfMoreReadings(t *testing.T) {
	for n, printed := range map[int]float64{3: 3.31, 4: 3.63, 5: 3.86, 6: 4.03, 7: 4.17, 8: 4.29, 9: 4.39, 10: 4.47, 15: 4.80, 20: 5.01} {
		if got := rangeFactors[n] * 2.7718; math.Abs(got-printed) > 0.006 {
			t.Errorf("range of %d readings %.3f standard deviations, printed %.2f", n, got, printed)
		}
	}
}
