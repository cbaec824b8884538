package audit_test

import (
	"slices"
	"strconv"
	"testing"

	"echotally/internal/audit"
	"echotally/internal/calendar"
	"echotally/internal/counted"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/reduction"
	"echotally/internal/table"
	"echotally/internal/ucum"
)

// Ledgers name grades by their place, which therefore stays.
func TestGradesKeepTheirPlaces(t *testing.T) {
	got := counted.ScalesOf(ruleSet(t))
	want := []string{"absent", "trivial", "mild", "mild-to-moderate", "moderate", "moderate-to-severe", "severe", "massive", "torrential"}
	if !slices.Equal(got.Grades, want) {
		t.Errorf("grades %v", got.Grades)
	}
	if want := []string{"excellent", "good", "fair", "poor"}; !slices.Equal(got.Qualities, want) {
		t.Errorf("qualities %v", got.Qualities)
	}
}

// Each cut-off of the rule files counts the values on both sides of it.
func TestEachCutOffCounts(t *testing.T) {
	set := ruleSet(t)
	opt := audit.Defaults()
	opt.Period, _ = calendar.Month("2026-10")
	opt.Scales = counted.ScalesOf(set)
	if len(opt.Scales.CutOffs) == 0 {
		t.Fatal("no cut-off")
	}
	for _, one := range opt.Scales.CutOffs {
		var studies []counted.Study
		m := set.Measurands.Find(one.Measurand)
		for _, x := range []float64{one.Value - one.Within/2, one.Value, one.Value + one.Within/2} {
			value, err := ucum.ParseExact(strconv.FormatFloat(x, 'f', 4, 64))
			if err != nil {
				t.Fatal(err)
			}
			q := &ucum.Quantity{Value: value, Unit: m.Unit}
			s := &echo.Study{StudyDate: "20261005", Measurements: []echo.Measurement{{Role: echo.Result, Measurand: m.Identifier, Quantity: q, Canonical: q}}}
			studies = append(studies, reduction.NewReducer(set).Reduce(s, finding.Protocols{}, nil, nil))
		}
		for _, found := range audit.Build(studies, opt).Tables {
			if found.Identifier != "thresholds" {
				continue
			}
			if len(found.Rows) == 0 || !slices.ContainsFunc(found.Rows, func(row []table.Cell) bool {
				return row[0].Text == one.Title && row[1].Count == 1 && row[2].Count == 2
			}) {
				t.Errorf("%s: %+v", one.Title, found.Rows)
			}
		}
	}
}
