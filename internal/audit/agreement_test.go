package audit_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"echotally/internal/audit"
	"echotally/internal/calendar"
	"echotally/internal/coding"
	"echotally/internal/counted"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/reduction"
	"echotally/internal/stats"
	"echotally/internal/ucum"
)

const excursion = "tricuspid-annular-plane-systolic-excursion"

// excursionOf is TAPSE in millimetres as one report gives it.
func excursionOf(t *testing.T, report string, values ...string) []echo.Measurement {
	t.Helper()
	unit, err := ucum.Parse("mm")
	if err != nil {
		t.Fatal(err)
	}
	var out []echo.Measurement
	for i, text := range values {
		value, _, err := ucum.ParseDecimal(text)
		if err != nil {
			t.Fatal(err)
		}
		q := &ucum.Quantity{Value: value, Unit: unit}
		out = append(out, echo.Measurement{Measurand: excursion, Modifiers: echo.Modifiers{ImageView: &echo.Modifier{Concept: coding.CodedConcept{CodeValue: "399214001", CodingSchemeDesignator: "SCT"}}}, Role: echo.Result, ValueText: text, Quantity: q, Canonical: q,
			Source: echo.Source{SOPInstanceUID: report, Item: fmt.Sprint("1.", i+1)}})
	}
	return out
}

func staff(people ...string) []echo.Person {
	var out []echo.Person
	for _, p := range people {
		task, name, _ := strings.Cut(p, " ")
		out = append(out, echo.Person{Pseudonym: name, Task: echo.Task(task)})
	}
	return out
}

// Two reports of a study make a pair, by what their staff tells; the means of
// their beats are compared; a verifier has not measured; what is the same may be
// copied.
func TestPairsOfReports(t *testing.T) {
	set := ruleSet(t)
	for _, one := range []struct {
		name          string
		first, second []echo.Person
		want          counted.Compared
	}{
		{"another reader", staff("scanned a", "read b"), staff("scanned a", "read c"), counted.TwoObservers},
		{"another verifier", staff("scanned a", "verified b"), staff("scanned a", "verified c"), counted.OneObserver},
		{"one more", staff("scanned a"), staff("scanned a", "read c"), counted.WhoeverWrote},
		{"nobody named", nil, staff("read c"), counted.WhoeverWrote},
	} {
		s := &echo.Study{Documents: []echo.Document{{SOPInstanceUID: "1", Staff: one.first, SupersededBy: "2"}, {SOPInstanceUID: "2", Staff: one.second}, {SOPInstanceUID: "3"}},
			Measurements: append(append(excursionOf(t, "1", "20", "22"), excursionOf(t, "2", "24", "25", "26")...), excursionOf(t, "3", "90")...)}
		for i := range 2 {
			s.Measurements[i].Superseded = true
		}
		got := reduction.NewReducer(set).Reduce(s, finding.Protocols{}, nil, nil)
		if len(got.Pairs) != 1 {
			t.Fatalf("%s: %d pairs, one quantity is in the reports", one.name, len(got.Pairs))
		}
		p := got.Pairs[0]
		if p.Compared != one.want || p.First != 21 || p.Second != 25 || p.Identical || p.Unit != "mm" || p.Measurand != excursion {
			t.Errorf("%s: %+v, want %s, 21 and 25 mm", one.name, p, one.want)
		}
		// The beats of the reports that count are repeats of their own report only.
		if len(got.Spreads) != 1 || len(got.Spreads[0].Readings) != 3 || got.Spreads[0].Unit != "mm" {
			t.Errorf("%s: repeats %+v, only the second report has several beats and counts", one.name, got.Spreads)
		}
	}
	same := &echo.Study{Documents: []echo.Document{{SOPInstanceUID: "1"}, {SOPInstanceUID: "2"}}, Measurements: append(excursionOf(t, "1", "20"), excursionOf(t, "2", "20")...)}
	same.Measurements[1].DuplicateOf = &same.Measurements[0].Source
	if got := reduction.NewReducer(set).Reduce(same, finding.Protocols{}, nil, nil); len(got.Pairs) != 1 || !got.Pairs[0].Identical || len(got.Spreads) != 0 {
		t.Errorf("the same value in two reports: pairs %+v, repeats %+v", got.Pairs, got.Spreads)
	}
	alone := &echo.Study{Documents: same.Documents[:1], Measurements: excursionOf(t, "1", "20", "21")}
	if got := reduction.NewReducer(set).Reduce(alone, finding.Protocols{}, nil, nil); len(got.Pairs) != 0 || len(got.Spreads) != 1 {
		t.Errorf("one report: pairs %+v, repeats %+v", got.Pairs, got.Spreads)
	}
}

// Without a view nobody can tell whether two readings of one plane are of the
// same: they are neither beats nor a pair, and it is said how often.
func TestReadingsWithoutAViewAreNoPair(t *testing.T) {
	set := ruleSet(t)
	blind := func(m []echo.Measurement) []echo.Measurement {
		for i := range m {
			m[i].Modifiers.ImageView = nil
		}
		return m
	}
	alone := &echo.Study{Documents: []echo.Document{{SOPInstanceUID: "1"}}, Measurements: blind(excursionOf(t, "1", "20", "21"))}
	if got := reduction.NewReducer(set).Reduce(alone, finding.Protocols{}, nil, nil); len(got.Spreads) != 0 || got.Untold != 1 {
		t.Errorf("two readings without a view: repeats %+v, told of %d", got.Spreads, got.Untold)
	}
	two := &echo.Study{Documents: []echo.Document{{SOPInstanceUID: "1"}, {SOPInstanceUID: "2"}}, Measurements: blind(append(excursionOf(t, "1", "20"), excursionOf(t, "2", "22")...))}
	if got := reduction.NewReducer(set).Reduce(two, finding.Protocols{}, nil, nil); len(got.Pairs) != 0 {
		t.Errorf("two reports without a view: pairs %+v", got.Pairs)
	}
	// A volume whose measurand leaves the plane open is of either plane, whatever
	// method of disks was taken.
	for i := range two.Measurements {
		two.Measurements[i].Measurand = "left-ventricular-end-systolic-volume"
		two.Measurements[i].Modifiers.MeasurementMethod = &echo.Modifier{Concept: coding.CodedConcept{CodeValue: "125208", CodingSchemeDesignator: "DCM"}}
	}
	if got := reduction.NewReducer(set).Reduce(two, finding.Protocols{}, nil, nil); len(got.Pairs) != 0 {
		t.Errorf("a plane that is left open: pairs %+v", got.Pairs)
	}
	// Both planes together are one quantity.
	for i := range two.Measurements {
		two.Measurements[i].Measurand = "left-ventricular-ejection-fraction-biplane"
	}
	if got := reduction.NewReducer(set).Reduce(two, finding.Protocols{}, nil, nil); len(got.Pairs) != 1 {
		t.Errorf("biplane: pairs %+v", got.Pairs)
	}
}

// The table finds a known bias and spread, takes one pair of each study, leaves
// the same values out, and shows nothing of few studies.
func TestAgreementFindsWhatWasPutIn(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 7))
	opt := audit.Defaults()
	opt.Scales = counted.ScalesOf(ruleSet(t))
	opt.Period, _ = calendar.Month("2026-10")
	const n, bias, sd = 400, 1.5, 2.0
	var studies []counted.Study
	for i := range n {
		s := counted.Study{UID: fmt.Sprintf("%04d", i), Date: day("2026-10-05"), Protocol: "comprehensive"}
		x := 20 + 3*random.NormFloat64()
		pair := counted.Pair{Quantity: &counted.Quantity{Measurand: excursion, Title: "TAPSE", Unit: "mm"}, Compared: counted.TwoObservers, First: x, Second: x + bias + sd*random.NormFloat64()}
		if i%10 == 0 {
			pair.Second, pair.Identical = pair.First, true
		}
		s.Pairs = []counted.Pair{pair, {Quantity: &counted.Quantity{Measurand: excursion, Title: "TAPSE", Unit: "mm"}, Compared: counted.TwoObservers, First: 0, Second: 1000}}
		if i < 19 {
			s.Spreads = []counted.Spread{{Quantity: &counted.Quantity{Measurand: excursion, Title: "TAPSE", Unit: "mm"}, Readings: []float64{x, x + 1}}}
		}
		studies = append(studies, s)
	}
	r := audit.Build(studies, opt)
	for _, table := range r.Tables {
		if table.Identifier != "agreement" {
			continue
		}
		if len(table.Rows) != 1 || !strings.Contains(table.Note, "fewer, not shown: 1.") {
			t.Fatalf("%d rows, 19 studies with beats are too few for a second; %s", len(table.Rows), table.Note)
		}
		row := table.Rows[0]
		if row[3].Count != n-n/10 || row[4].Count != n/10 {
			t.Errorf("%d pairs and %d the same, want %d and %d", row[3].Count, row[4].Count, n-n/10, n/10)
		}
		holds := func(i stats.Interval, x float64) bool { return i.Low < x && x < i.High }
		if !holds(row[5].Between, bias) || !holds(row[7].Between, bias-1.96*sd) || !holds(row[8].Between, bias+1.96*sd) {
			t.Errorf("bias %v, limits %v and %v do not hold %v ± 1.96·%v", row[5].Between, row[7].Between, row[8].Between, bias, sd)
		}
		// Within-study variance: half the mean square of the differences.
		if want := 1.96 * 2.5; row[9].Number < want-0.5 || row[9].Number > want+0.5 {
			t.Errorf("repeatability %v, √(1.5² + 2²) = 2.5 times 1.96 was put in", row[9].Number)
		}
		if len(r.Agreements) != 1 || r.Agreements[0].Test.Pairs != row[3].Count {
			t.Errorf("drawn: %+v", len(r.Agreements))
		}
		return
	}
	t.Fatal("no table of agreement")
}
