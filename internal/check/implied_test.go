package check_test

import (
	"testing"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/library"
	"echotally/internal/ucum"
	"echotally/rules"
)

// A flow ratio that shows a shunt excuses what a reader's word for it would
// excuse; one that shows none does not.
func TestAShuntByItsRatioIsImplied(t *testing.T) {
	set, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	value := func(measurand, number, unit string) echo.Measurement {
		d, _, err1 := ucum.ParseDecimal(number)
		u, err2 := ucum.Parse(unit)
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		q := ucum.Quantity{Value: d, Unit: u}
		return echo.Measurement{Measurand: measurand, Role: echo.Result, ValueText: number, Quantity: &q, Canonical: &q}
	}
	for ratio, want := range map[string]finding.Outcome{"1.8": finding.NotApplicable, "0.6": finding.NotApplicable, "1.2": finding.Fail, "1.0": finding.Fail, "0.8": finding.Fail} {
		s := study(value("pulmonary-to-systemic-flow-ratio", ratio, "1"), value("stroke-volume-lvot", "40", "mL"),
			value("left-ventricular-end-diastolic-volume-biplane", "120", "mL"), value("left-ventricular-end-systolic-volume-biplane", "50", "mL"))
		_, results := put(set, s)
		got := finding.NotApplicable
		for _, r := range results {
			if r.Rule == "left-ventricle/stroke-volume-fits-volumes" {
				got = r.Outcome
			}
		}
		if got != want {
			t.Errorf("ratio %s: %s, want %s", ratio, got, want)
		}
	}
}
