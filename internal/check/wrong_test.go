package check_test

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"echotally/internal/library"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/ucum"
	"echotally/rules"
)

// writtenAs says under which measurands and units the numbers of a published
// example stand: the printed result first, then the arguments.
var writtenAs = map[string][]string{
	"aortic_valve_area":           {"aortic-valve-area-continuity cm2", "lvot-diameter cm", "lvot-velocity-time-integral cm", "aortic-valve-velocity-time-integral cm"},
	"indexed_area":                {"aortic-valve-area-index cm2/m2", "aortic-valve-area-continuity cm2", "body-surface-area m2"},
	"eroa_from_volume":            {"aortic-regurgitation-effective-orifice-area cm2", "aortic-regurgitation-volume mL", "aortic-regurgitation-velocity-time-integral cm"},
	"fractional_shortening":       {"left-ventricular-fractional-shortening %", "left-ventricular-internal-diameter-diastole cm", "left-ventricular-internal-diameter-systole cm"},
	"body_surface_area_mosteller": {"body-surface-area m2", "body-height cm", "body-weight kg"},
	"ejection_fraction":           {"left-ventricular-ejection-fraction-biplane %", "left-ventricular-end-diastolic-volume-biplane mL", "left-ventricular-end-systolic-volume-biplane mL"},
}

// TestPublishedErrorsAreFlagged takes published examples whose printed result
// does not follow from their own inputs (sources in the table, beside each), as
// studies with the printed numbers, and expects the rule named there to fail.
func TestPublishedErrorsAreFlagged(t *testing.T) {
	set, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	f, err := os.Open(filepath.Join("..", "derive", "testdata", "wrong_examples.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	flagged := 0
	for _, row := range rows[1:] {
		formula, arguments, printed, why, name := row[0], strings.Split(row[1], ";"), row[2], row[5], row[6]
		t.Run(formula+" "+row[1], func(t *testing.T) {
			names := writtenAs[formula]
			if len(names) != len(arguments)+1 {
				t.Fatalf("the test does not know the measurands of %s", formula)
			}
			age := 60.0
			s := &echo.Study{StudyInstanceUID: "2.25.1", Subject: echo.Subject{PatientSex: "F", AgeYears: &age}}
			for i, number := range append([]string{printed}, arguments...) {
				s.Measurements = append(s.Measurements, printedValue(t, set, names[i], number))
			}
			_, results := put(set, s)
			for _, r := range results {
				if r.Rule == name {
					if r.Outcome != finding.Fail {
						t.Errorf("%s: %s (%s), though %s", name, r.Outcome, r.Message, why)
					}
					flagged++
					return
				}
			}
			t.Errorf("no rule %s", name)
		})
	}
	if flagged < len(rows)-1 {
		t.Errorf("%d of %d published errors were tried", flagged, len(rows)-1)
	}
}

// TestPublishedClasses puts the cells of published tables that give a class and
// no number to the rules that judge by them; each row of published_classes.csv
// names its source.
func TestPublishedClasses(t *testing.T) {
	set, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	f, err := os.Open(filepath.Join("testdata", "published_classes.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		age := 60.0
		s := &echo.Study{StudyInstanceUID: "2.25.1", Subject: echo.Subject{PatientSex: "F", AgeYears: &age}}
		for _, given := range strings.Split(row[1], ";") {
			identifier, quantity, _ := strings.Cut(given, "=")
			number, unit, _ := strings.Cut(quantity, " ")
			s.Measurements = append(s.Measurements, printedValue(t, set, identifier+" "+unit, number))
		}
		_, results := put(set, s)
		i := slices.IndexFunc(results, func(r finding.Result) bool { return r.Rule == row[2] })
		if i < 0 {
			t.Fatalf("no rule %s", row[2])
		}
		if r := results[i]; string(r.Outcome) != row[3] {
			t.Errorf("%s %s: %s %s (%s), want %s: %s", row[0], row[1], row[2], r.Outcome, r.Message, row[3], row[4])
		}
	}
}

// TestWallThicknessSaysWhichWalls: 2 × 1.0 / 5.0 = 0.40, (1.5 + 1.0) / 5.0 =
// 0.50, and the septum twice, 0.60, is neither form. The standard has no code
// for the quantity, so it is put into the study directly.
func TestWallThicknessSaysWhichWalls(t *testing.T) {
	set, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	for stated, want := range map[string]string{"0.400": "twice the posterior wall", "0.500": "both walls", "0.600": ""} {
		s := &echo.Study{StudyInstanceUID: "2.25.1"}
		for what, number := range map[string]string{"left-ventricular-relative-wall-thickness 1": stated, "interventricular-septum-thickness-diastole cm": "1.500",
			"left-ventricular-internal-diameter-diastole cm": "5.000", "left-ventricular-posterior-wall-thickness-diastole cm": "1.000"} {
			s.Measurements = append(s.Measurements, printedValue(t, set, what, number))
		}
		_, results := put(set, s)
		i := slices.IndexFunc(results, func(r finding.Result) bool { return r.Rule == "left-ventricle/relative-wall-thickness-from-dimensions" })
		if i < 0 {
			t.Fatal("no result")
		}
		if r := results[i]; r.Variant != want || (r.Outcome == finding.Pass) != (want != "") {
			t.Errorf("%s: %s by %q (%s), want %q", stated, r.Outcome, r.Variant, r.Message, want)
		}
	}
}

func printedValue(t *testing.T, set *library.Library, what, number string) echo.Measurement {
	t.Helper()
	identifier, unit, _ := strings.Cut(what, " ")
	d, _, err := ucum.ParseDecimal(number)
	if err != nil {
		t.Fatal(err)
	}
	u, err := ucum.Parse(unit)
	if err != nil {
		t.Fatal(err)
	}
	m := set.Measurands.Find(identifier)
	if m == nil {
		t.Fatalf("no measurand %s", identifier)
	}
	q := ucum.Quantity{Value: d, Unit: u}
	canonical, err := q.To(m.Unit)
	if err != nil {
		t.Fatal(err)
	}
	return echo.Measurement{Measurand: identifier, ValueText: number, Quantity: &q, Canonical: &canonical, Role: echo.Result,
		Source: echo.Source{SOPInstanceUID: "2.25.2", Item: identifier}}
}
