package audit_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"echotally/internal/actionlog"
	"echotally/internal/audit"
	"echotally/internal/calendar"
	"echotally/internal/counted"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/reduction"
	"echotally/internal/stats"
	"echotally/internal/table"
	"echotally/internal/tally"
)

// tableOf finds a table of the report of October 2026.
func tableOf(t *testing.T, studies []counted.Study, name string) table.Table {
	t.Helper()
	opt := audit.Defaults()
	opt.Scales = counted.ScalesOf(ruleSet(t))
	opt.Period, _ = calendar.Month("2026-10")
	for _, table := range audit.Build(studies, opt).Tables {
		if table.Identifier == name {
			return table
		}
	}
	t.Fatalf("no table %s", name)
	return table.Table{}
}

// graded is a report's statements about the tricuspid valve.
func graded(report string, grades ...string) []echo.Statement {
	var out []echo.Statement
	for _, g := range grades {
		out = append(out, echo.Statement{Identifier: "tricuspid-regurgitation-" + g, Source: echo.Source{SOPInstanceUID: report}})
	}
	return out
}

// Grades are compared lesion by lesion between the first two reports; one that
// gives two grades gives none.
func TestGradesOfTwoReports(t *testing.T) {
	set := ruleSet(t)
	documents := []echo.Document{{SOPInstanceUID: "1", Staff: staff("read a"), SupersededBy: "2"}, {SOPInstanceUID: "2", Staff: staff("read b")}}
	for _, one := range []struct {
		name          string
		first, second []string
		want          int
	}{{"graded by both", []string{"mild"}, []string{"moderate"}, 1}, {"one does not", nil, []string{"mild"}, 0}, {"one gives two", []string{"mild", "severe"}, []string{"mild"}, 0}} {
		s := &echo.Study{Documents: slices.Clone(documents), Statements: graded("2", one.second...)}
		for _, g := range one.first {
			s.Documents[0].Replaced = append(s.Documents[0].Replaced, "tricuspid-regurgitation-"+g)
		}
		got := reduction.NewReducer(set).Reduce(s, finding.Protocols{}, nil, nil).Grades
		if len(got) != one.want {
			t.Errorf("%s: %+v", one.name, got)
		}
		if len(got) == 1 && (got[0].Lesion != "tricuspid-regurgitation" || got[0].Compared != counted.TwoObservers || got[0].Second-got[0].First != 2) {
			t.Errorf("%s: %+v, mild to moderate are two steps", one.name, got[0])
		}
	}
}

// The table of grades gives Cohen's own table of 1968 its kappa of 0.492 (rows 88
// 14 18 / 10 40 10 / 2 6 12), and of few studies the counts only.
func TestGradeAgreementIsKappa(t *testing.T) {
	var studies []counted.Study
	steps := []int{2, 4, 6} // mild, moderate, severe
	add := func(n, first, second int) {
		for range n {
			s := counted.Study{UID: fmt.Sprint(len(studies)), Date: day("2026-10-05")}
			s.Grades = []counted.GradePair{{Lesion: "mitral-regurgitation", Compared: counted.TwoObservers, First: first, Second: second}}
			studies = append(studies, s)
		}
	}
	for i, row := range [][]int{{88, 14, 18}, {10, 40, 10}, {2, 6, 12}} {
		for j, n := range row {
			add(n, steps[i], steps[j])
		}
	}
	row := tableOf(t, studies, "grade-agreement").Rows[0]
	if row[1].Text != "Mitral regurgitation" || row[2].Count != 200 || row[3].Share != (stats.Proportion{Count: 140, Total: 200}) || math.Abs(row[5].Number-0.492) > 1e-3 {
		t.Errorf("%+v", row)
	}
	// With quadratic weights statsmodels gives 0.4545 for it.
	if math.Abs(row[6].Number-0.454545) > 1e-6 || !strings.HasPrefix(row[8].Text, "both mild 88") {
		t.Errorf("weighted %v, counts %q", row[6], row[8].Text)
	}
	if few := tableOf(t, studies[:29], "grade-agreement").Rows[0]; !math.IsNaN(few[5].Number) || few[2].Count != 29 {
		t.Errorf("29 studies: %+v", few)
	}
}

// What another test found is set beside the value that counts, in its unit.
func TestCorrelationWithAnotherTest(t *testing.T) {
	set := ruleSet(t)
	s := &echo.Study{StudyDate: "20261005", Documents: []echo.Document{{SOPInstanceUID: "1"}}, Measurements: excursionOf(t, "1", "20")}
	tests := []reduction.OtherTest{
		{Measurand: excursion, Test: "magnetic-resonance", Value: "2.3", Unit: "cm", On: day("2026-10-15")},
		{Measurand: "aortic-valve-mean-gradient", Test: "catheter", Value: "40", Unit: "mm[Hg]", On: day("2026-10-04")},
		{Measurand: "no-such", Test: "catheter", Value: "40", Unit: "mm[Hg]", On: day("2026-10-04")},
	}
	got := reduction.NewReducer(set).Correlate(s, tests)
	if len(got) != 2 || got[0].Echo != 20 || math.Abs(got[0].Other-23) > 1e-9 || got[0].Days != 10 || got[1].Days != 1 || !math.IsNaN(got[1].Echo) {
		t.Fatalf("%+v", got)
	}
	var studies []counted.Study
	for i := range 10 {
		c := got[0]
		c.Other += float64(i%3) - 1
		if i == 9 {
			c.Days = 31 // too far apart
		}
		studies = append(studies, counted.Study{UID: fmt.Sprint("2.25.77", i), Date: day("2026-10-05"), Correlations: []counted.Correlation{c, got[1]}, Appropriateness: "appropriate"})
	}
	sum := tableOf(t, studies, "correlation")
	if row := sum.Rows[1]; row[4].Count != 10 || row[5].Count != 9 || math.Abs(row[6].Number+3) > 1e-9 || !math.IsNaN(row[8].Number) {
		t.Errorf("%+v; nine pairs, 3 mm less than the other test, too few for limits", row)
	}
	if row := sum.Rows[0]; row[4].Count != 10 || row[5].Count != 0 || !math.IsNaN(row[6].Number) {
		t.Errorf("%+v; the study has no gradient", row)
	}
	cases := tableOf(t, studies, "correlation-cases")
	if len(cases.Rows) != 20 {
		t.Errorf("%d cases", len(cases.Rows))
	}
	for _, row := range cases.Rows {
		for _, c := range row {
			if strings.Contains(c.Text, "2.25") {
				t.Errorf("a case names its study: %+v", row)
			}
		}
	}
	if row := tableOf(t, studies, "appropriateness").Rows[0]; row[0].Text != "Appropriate" || row[1].Share.Count != 10 {
		t.Errorf("%+v", row)
	}
}

// The months of a year before stand beside those shown, and the difference has
// Newcombe's interval.
func TestTwelveMonthsBesideTheYearBefore(t *testing.T) {
	var studies []counted.Study
	for i := range 2 * 365 {
		outcome := finding.Pass
		if i < 365 && i%2 == 0 || i >= 365 && i%10 == 0 {
			outcome = finding.Fail
		}
		s := demanded(i, outcome, "")
		s.Date = day("2024-11-01").AddDate(0, 0, i)
		studies = append(studies, s)
	}
	years := tableOf(t, studies, "years")
	row := years.Rows[0]
	// 183 of 365 are missing in the first year, 36 of the 365 after.
	if row[0].Text != audit.CompleteStrict || row[4].Share != (stats.Proportion{Count: 329, Total: 365}) || row[5].Share != (stats.Proportion{Count: 182, Total: 365}) {
		t.Errorf("%+v", row)
	}
	if d, _ := stats.Difference(row[4].Share, row[5].Share, 0.95); math.Abs(row[6].Number-100*d) > 1e-9 || row[6].Between.Low <= 0 {
		t.Errorf("difference %v", row[6])
	}
	if row[3].Share.Total != 31 || row[2].Share.Total != 31 {
		t.Errorf("October %v, the one before %v", row[2].Share, row[3].Share)
	}
	if p, _ := calendar.Month("2028-02"); p.YearBefore().To != day("2027-02-28") {
		t.Errorf("the year before February 2028 ends on %v", p.YearBefore().To)
	}
}

// Limits begin anew where an action on the measure starts: what was before is no
// limit for what came after, and an action goes before a change of software.
func TestLimitsBeginAnewAtAnAction(t *testing.T) {
	opt := audit.Defaults()
	opt.Period, _ = calendar.Month("2026-10")
	opt.Actions = []actionlog.Action{{Number: 7, Title: "A line", Measure: "rule:a/present", Started: day("2026-06-01")}}
	var studies []counted.Study
	for i := range 1200 {
		at := day("2025-11-01").AddDate(0, 0, i*365/1200)
		outcome := finding.Pass
		if at.Before(day("2026-06-01")) && i%4 == 0 || i%50 == 1 {
			outcome = finding.Fail
		}
		s := demanded(i, outcome, "")
		s.Date, s.Device = at, counted.Device{Station: "ROOM-1", Software: "1"}
		if !at.Before(day("2026-05-01")) {
			s.Device.Software = "2"
		}
		studies = append(studies, s)
	}
	r := audit.Build(studies, opt)
	if len(r.Followed) != 1 {
		t.Fatalf("%d charts of actions", len(r.Followed))
	}
	h := r.Followed[0]
	if c := h.Centres; c[6] > 0.8 || c[7] < 0.95 || c[0] != c[6] || c[7] != c[11] || len(h.Chart.Signals) != 0 {
		t.Errorf("centres %v, signals %v", h.Centres, h.Chart.Signals)
	}
	marks := ""
	for _, m := range r.Marks() {
		marks += m.Mark
	}
	if marks != "7a" {
		t.Errorf("marked: %s", marks)
	}
}

// What cannot be told is in neither figure and is told beside it; what is excused
// in every part does not count against the study.
func TestUntoldStudiesAreInNeitherFigure(t *testing.T) {
	opt := audit.Defaults()
	opt.Period, _ = calendar.Month("2026-10")
	r := audit.Build([]counted.Study{demanded(1, finding.Pass, ""), demanded(2, finding.Open, ""), demanded(3, finding.Excused, ""), demanded(4, finding.Fail, "")}, opt)
	for _, h := range r.Headlines {
		want, ok := map[string]stats.Proportion{audit.CompleteStrict: {Count: 1, Total: 3}, audit.Complete: {Count: 2, Total: 3}}[h.Measure.Identifier]
		if ok && (h.Now != want || h.Untold != 1) {
			t.Errorf("%s: %v with %d that cannot be told, want %v with 1", h.Measure.Identifier, h.Now, h.Untold, want)
		}
	}
}

// Notes are in no headline, and are told beside them.
func TestNotesAreToldBeside(t *testing.T) {
	opt := audit.Defaults()
	opt.Period, _ = calendar.Month("2026-10")
	note := &tally.Rule{Identifier: "a/volume", Title: "The volume is measured", Kind: finding.Completeness, Severity: finding.Information}
	var studies []counted.Study
	for i := range 4 {
		s := demanded(i, finding.Pass, "")
		var results []tally.Result
		for res := range s.Results.All() {
			results = append(results, res)
		}
		s.Results = tally.OutcomesOf(append(results, tally.Result{Rule: note, Outcome: []finding.Outcome{finding.Fail, finding.Pass}[min(i, 1)], Severity: finding.Information})...)
		studies = append(studies, s)
	}
	r := audit.Build(studies, opt)
	if r.Headlines[0].Now != (stats.Proportion{Count: 4, Total: 4}) {
		t.Errorf("a note counts in a headline: %v", r.Headlines[0].Now)
	}
	if words := r.Notes.Words(); !strings.Contains(words, "75.0 % (3/4)") || !strings.Contains(words, "The volume is measured: 75.0 % (3/4)") {
		t.Errorf("%s", words)
	}
	for _, table := range r.Tables {
		if table.Identifier == "completeness" && (table.Rows[0][2].Text != "warning" || table.Rows[1][2].Text != "note") {
			t.Errorf("severities: %+v", table.Rows)
		}
	}
}

// The sheet says for what its owner is flagged, and only its owner.
func TestFeedbackSaysWhatIsFlagged(t *testing.T) {
	var studies []counted.Study
	for i := range 600 {
		who := fmt.Sprint("s", i%6)
		s := demanded(i, finding.Pass, "")
		s.Sonographer = who
		if who == "s2" && i%4 != 0 {
			s.Results = demanded(i, finding.Fail, "").Results
		}
		studies = append(studies, s)
	}
	opt := audit.Defaults()
	opt.Period, _ = calendar.Month("2026-10")
	f, _ := audit.NewFeedback(studies, opt, "s2")
	if len(f.Flagged) != 1 || f.Flagged[0].Own.Total != 100 || !strings.Contains(f.Action, f.Flagged[0].Title) {
		t.Errorf("flagged %+v, action %s", f.Flagged, f.Action)
	}
	if f, _ = audit.NewFeedback(studies, opt, "s3"); len(f.Flagged) != 0 {
		t.Errorf("another is flagged: %+v", f.Flagged)
	}
}

// What is a matter of how the lab reports stands in the audit, once: what does not
// hold, and where only that is one, what cannot be told.
func TestWhatReportsDoNotSayIsToldOnce(t *testing.T) {
	verified := &tally.Rule{Identifier: "a/verified", Title: "The report is verified", Kind: finding.Form, Severity: finding.Information, PerLab: true}
	gate := &tally.Rule{Identifier: "a/gate", Title: "The sample is short", Kind: finding.Acquisition, Severity: finding.Information, OpenPerLab: true}
	var studies []counted.Study
	for i, outcomes := range [][2]finding.Outcome{{finding.Fail, finding.Open}, {finding.Fail, finding.Fail}, {finding.Pass, finding.Pass}} {
		s := demanded(i, finding.Pass, "")
		var results []tally.Result
		for res := range s.Results.All() {
			results = append(results, res)
		}
		s.Results = tally.OutcomesOf(append(results,
			tally.Result{Rule: verified, Outcome: outcomes[0], Severity: finding.Information}, tally.Result{Rule: gate, Outcome: outcomes[1], Severity: finding.Information})...)
		studies = append(studies, s)
	}
	table := tableOf(t, studies, "reporting")
	got := map[string]stats.Proportion{}
	for _, row := range table.Rows {
		got[row[0].Text] = row[2].Share
	}
	for name, want := range map[string]stats.Proportion{"a/verified": {Count: 2, Total: 3}, "a/gate": {Count: 1, Total: 2}} {
		if got[name] != want {
			t.Errorf("%s: %v, want %v", name, got[name], want)
		}
	}
	if len(got) != 2 {
		t.Errorf("%v", got)
	}
}
