package answer

import (
	"testing"

	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/library"
	"echotally/internal/measurand"
	"echotally/internal/rule"
	"echotally/internal/ucum"
	"echotally/rules"
)

func TestComputedNumbersInUnitsPeopleUse(t *testing.T) {
	for _, tt := range []struct {
		x          float64
		unit, want string
	}{
		{4660, "mm2.cm", "46.6 mL"},
		{51.9, "cm.s/m", "519 ms"},
		{38.9, "mm[Hg]", "38.9 mmHg"},
		{1.27, "1", "1.27"},
	} {
		u, err := ucum.Parse(tt.unit)
		if err != nil {
			t.Fatal(err)
		}
		if got := legible(tt.x, u); got != tt.want {
			t.Errorf("%g %s: %q, want %q", tt.x, tt.unit, got, tt.want)
		}
	}
}

// TestQuestionsInWords asks a study with one velocity that was measured on an image
// each kind of question.
func TestQuestionsInWords(t *testing.T) {
	lib, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	m := lib.Measurands.Find("tricuspid-regurgitation-peak-velocity")
	value, _, err := ucum.ParseDecimal("2.80")
	if err != nil {
		t.Fatal(err)
	}
	age, rate := 60.0, 55.0
	quantity := &ucum.Quantity{Value: value, Unit: m.Unit}
	study := &echo.Study{
		Subject: echo.Subject{AgeYears: &age, PatientSex: "F"},
		Images:  []echo.Image{{FrameRate: &rate, Regions: []echo.Region{{Calibrated: true}}}},
		Measurements: []echo.Measurement{{
			Measurand: m.Identifier, Role: echo.Result, Quantity: quantity, Canonical: quantity, Link: &echo.Link{Image: 0, Region: 0},
		}},
	}
	alias := &rule.Alias{Name: "tr", Measurands: []*measurand.Measurand{m}, Unit: m.Unit}
	one := &rule.Rule{}
	one.Adopt(alias)
	scope := expr.Scope{Symbols: expr.Table{"tr": {Unit: m.Unit, Set: true, Repeatable: true}}, Fields: func() []string { return []string{"imageView"} }}
	for source, want := range map[string]string{
		"tr > tr":                  "2.80 m/s > 2.80 m/s",
		"present(tr)":              m.Title + " present",
		"count(tr) >= 2":           "1 value of " + m.Title + " ≥ 2",
		"beats(tr) >= 2":           "1 beat of " + m.Title + " ≥ 2",
		"noted(tr, \"imageView\")": m.Title + " noted imageView",
		"highest(tr) > 0":          "highest " + m.Title + " 2.8 m/s > 0",
		"spread(tr) > 0":           "spread of " + m.Title + " unknown m/s > 0",
		"z_score(tr) > 0":          "z-score unknown > 0",
		"frame_rate(tr) > 0":       "frame rate 55 Hz > 0",
		"likely_windows(tr) >= 2":  "0 likely windows of " + m.Title + " ≥ 2",
		"calibrated(tr)":           m.Title + " measured where the image is calibrated",
		"prior_days() > 0":         "unknown days since the earlier study > 0",
		"count_measurands() >= 1":  "1 quantities measured ≥ 1",
		"age > 0":                  "age 60 years > 0",
		"sex != \"M\"":             "sex is not M",
	} {
		p, err := expr.Compile(source, scope)
		if err != nil {
			t.Fatal(err)
		}
		if got := Read(lib, study).To(one).Arithmetic(p); got != want {
			t.Errorf("%s: %q, want %q", source, got, want)
		}
	}
}
