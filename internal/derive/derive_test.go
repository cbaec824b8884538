package derive_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"echotally/internal/derive"
	"echotally/internal/ucum"
)

func dimension(d ucum.Dimension) string { return fmt.Sprint(d) }

func table(t *testing.T) *derive.Table {
	t.Helper()
	tab, err := derive.Load()
	if err != nil {
		t.Fatal(err)
	}
	return tab
}

// TestWorkedExamples recomputes numbers printed in standards, guidelines and
// papers; each row of testdata/worked_examples.csv names its source.
func TestWorkedExamples(t *testing.T) {
	tab := table(t)
	for _, row := range records(t, "testdata/worked_examples.csv") {
		got, unit := recompute(t, tab, row)
		if want, tolerance := number(t, row[2]), number(t, row[3]); math.Abs(got-want) > tolerance {
			t.Errorf("%s(%s) = %.4g %s, printed %g (%s)", row[0], row[1], got, unit, want, row[4])
		}
	}
}

// TestWrongExamples recomputes printed examples that do not follow from their
// own inputs; each row of testdata/wrong_examples.csv says where it stands and
// why it is wrong.
func TestWrongExamples(t *testing.T) {
	tab := table(t)
	for _, row := range records(t, "testdata/wrong_examples.csv") {
		got, unit := recompute(t, tab, row)
		if printed, tolerance := number(t, row[2]), number(t, row[3]); math.Abs(got-printed) <= tolerance {
			t.Errorf("%s(%s) = %.4g %s follows from its inputs, but is listed as wrong: %s (%s)", row[0], row[1], got, unit, row[5], row[4])
		}
	}
}

// records reads a table of examples without its heading.
func records(t *testing.T, path string) [][]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

// recompute applies the formula of a row to its arguments.
func recompute(t *testing.T, tab *derive.Table, row []string) (float64, string) {
	t.Helper()
	formula, ok := tab.Find(row[0])
	if !ok {
		t.Fatalf("%s: no such formula", row[0])
	}
	var args []float64
	for _, a := range strings.Split(row[1], ";") {
		args = append(args, number(t, a))
	}
	got, err := formula.Compute(args...)
	if err != nil {
		t.Fatalf("%s(%s): %v", row[0], row[1], err)
	}
	return got, formula.Unit.Code()
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestEveryFormulaIsDescribed(t *testing.T) {
	tab := table(t)
	if n := len(tab.All()); n < 60 {
		t.Errorf("%d formulas, want at least 60", n)
	}
	for _, f := range tab.All() {
		if f.Title == "" || f.Text == "" || f.Source == "" || len(f.Parameters) == 0 {
			t.Errorf("%s lacks title, text, source or parameters", f.Name)
		}
	}
}

// TestDimensionsOfProducts checks, where a formula is a plain product or
// quotient with no hidden unit, that its result unit is that of its arguments.
func TestDimensionsOfProducts(t *testing.T) {
	tab := table(t)
	for name, want := range map[string]func(p []derive.Parameter) string{
		"stroke_volume_from_area": func(p []derive.Parameter) string { return dimension(p[0].Unit.Mul(p[1].Unit).Dimension()) },
		"cardiac_output":          func(p []derive.Parameter) string { return dimension(p[0].Unit.Mul(p[1].Unit).Dimension()) },
		"eroa":                    func(p []derive.Parameter) string { return dimension(p[0].Unit.Pow(2).Dimension()) },
		"continuity_area":         func(p []derive.Parameter) string { return dimension(p[0].Unit.Div(p[1].Unit).Dimension()) },
		"body_mass_index":         func(p []derive.Parameter) string { return dimension(p[1].Unit.Div(p[0].Unit.Pow(2)).Dimension()) },
		"tapse_over_pasp":         func(p []derive.Parameter) string { return dimension(p[0].Unit.Div(p[1].Unit).Dimension()) },
	} {
		f, ok := tab.Find(name)
		if !ok {
			t.Fatalf("%s: no such formula", name)
		}
		if got := dimension(f.Unit.Dimension()); got != want(f.Parameters) {
			t.Errorf("%s: result has dimension %s, its arguments give %s", name, got, want(f.Parameters))
		}
	}
}

func TestBadArguments(t *testing.T) {
	f, _ := table(t).Find("ejection_fraction")
	if _, err := f.Compute(120); err == nil {
		t.Error("one volume is not enough for an ejection fraction")
	}
	if _, err := f.Compute(0, 0); err == nil {
		t.Error("0/0 must be an error")
	}
}
