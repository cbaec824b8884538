package derive_test

import (
	"encoding/csv"
	"fmt"
	"maps"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"echotally/internal/derive"
	"echotally/internal/derive/worked"
	"echotally/internal/srtest"
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
// papers; each row of worked_examples.csv names its source.
func TestWorkedExamples(t *testing.T) {
	for _, e := range examples(t) {
		if got := of(t, e.Formula, e.Arguments...); math.Abs(got-e.Result) > e.Tolerance {
			t.Errorf("%s%v = %.4g, printed %g (%s)", e.Formula, e.Arguments, got, e.Result, e.Source)
		}
		if !slices.Contains([]string{worked.Published, worked.Definition, worked.Memory, worked.CrossCheck}, e.Strength) || e.Source == "" {
			t.Errorf("%s%v: strength %q, source %q", e.Formula, e.Arguments, e.Strength, e.Source)
		}
		if e.Strength == worked.Published && strings.Contains(e.Source, "from memory") {
			t.Errorf("%s%v: what is from memory is not looked up: %s", e.Formula, e.Arguments, e.Source)
		}
	}
}

// TestShownFormulas counts the formulas with at least one published example of
// real numbers; it may only rise.
func TestShownFormulas(t *testing.T) {
	shown := map[string]bool{}
	for _, e := range examples(t) {
		shown[e.Formula] = shown[e.Formula] || e.Strength == worked.Published
	}
	maps.DeleteFunc(shown, func(_ string, published bool) bool { return !published })
	t.Logf("%d of %d formulas have a published example", len(shown), len(table(t).All()))
	const atLeast = 40
	if len(shown) < atLeast {
		t.Errorf("%d formulas have a published example, were %d", len(shown), atLeast)
	}
}

// TestReferenceRowsAreCovered: every row of the shared reference set of worked
// examples, and every section of the standard whose numbers can be recomputed,
// stands beside an example, a wrong example or a class of a rule. The reference
// set is no part of the repository; when it is there, its list is compared.
func TestReferenceRowsAreCovered(t *testing.T) {
	covered := map[string]bool{}
	for _, e := range examples(t) {
		for _, r := range e.Rows {
			covered[r] = true
		}
	}
	for _, row := range records(t, "testdata/wrong_examples.csv") {
		for _, r := range strings.Fields(row[7]) {
			covered[r] = true
		}
	}
	for _, row := range records(t, "../check/testdata/published_classes.csv") {
		covered[row[0]] = true
	}
	// N.4.4 prints a pressure without its velocity, N.4.6 an index without all scores.
	want := strings.Fields("N.4.1 N.4.2 N.4.3 N.4.5 CCCC.5 W02 W04 W06 W07 W09 W10 W12 W13 W14 W16 W19 W24 W25 W26 W29 W30 W32 W33 W34 W35 W38 W40 " +
		"W44 W45 W46 W47 W49 W51 W52 W53 W54 W55 W56 W57 W58 W59 W60 W62 W64 W65 W66 W67 W68 W69 W70")
	for _, r := range want {
		if !covered[r] {
			t.Errorf("row %s stands beside no check", r)
		}
	}
	for _, row := range records(t, srtest.Shared(t, "clinical", "worked_examples.csv")) {
		if !slices.Contains(want, row[0]) {
			t.Errorf("row %s of the reference set is not in the list", row[0])
		}
	}
}

func examples(t *testing.T) []worked.Example {
	t.Helper()
	list, err := worked.Examples()
	if err != nil {
		t.Fatal(err)
	}
	return list
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
		if f.Title == "" || f.Text == "" || f.Source == "" || f.Validity == "" || len(f.Parameters) == 0 {
			t.Errorf("%s lacks title, text, source, validity or parameters", f.Name)
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
