package audit_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"echotally/internal/actionlog"
	"echotally/internal/audit"
	"echotally/internal/calendar"
	"echotally/internal/counted"
	"echotally/internal/finding"
	"echotally/internal/stats"
	"echotally/internal/tally"
)

func day(text string) time.Time {
	t, err := time.Parse(time.DateOnly, text)
	if err != nil {
		panic(err)
	}
	return t
}

func TestPeriods(t *testing.T) {
	for _, one := range []struct {
		name     string
		read     func() (calendar.Period, error)
		from, to string
	}{
		{"month", func() (calendar.Period, error) { return calendar.Month("2026-02") }, "2026-02-01", "2026-02-28"},
		{"leap month", func() (calendar.Period, error) { return calendar.Month("2028-02") }, "2028-02-01", "2028-02-29"},
		{"quarter", func() (calendar.Period, error) { return calendar.Quarter("2026-Q3") }, "2026-07-01", "2026-09-30"},
		{"year", func() (calendar.Period, error) { return calendar.Year("2026") }, "2026-01-01", "2026-12-31"},
		{"between", func() (calendar.Period, error) { return calendar.Between("2026-10-05", "2026-10-05") }, "2026-10-05", "2026-10-05"},
	} {
		p, err := one.read()
		if err != nil || !p.From.Equal(day(one.from)) || !p.To.Equal(day(one.to)) {
			t.Errorf("%s: %v to %v, %v", one.name, p.From, p.To, err)
		}
	}
	for name, read := range map[string]func() (calendar.Period, error){
		"month":   func() (calendar.Period, error) { return calendar.Month("October") },
		"quarter": func() (calendar.Period, error) { return calendar.Quarter("2026-Q5") },
		"year":    func() (calendar.Period, error) { return calendar.Year("26") },
		"turned":  func() (calendar.Period, error) { return calendar.Between("2026-10-05", "2026-10-04") },
	} {
		if _, err := read(); err == nil {
			t.Errorf("%s: no fault was found", name)
		}
	}
	p, _ := calendar.Month("2026-10")
	if months := p.Look().Months(); len(months) != 12 || !months[0].Equal(day("2025-11-01")) {
		t.Errorf("the charts show %v", months)
	}
}

// timed is a study with times only.
func timed(setting, ended, read, signed string) counted.Study {
	at := func(text string) time.Time {
		if text == "" {
			return time.Time{}
		}
		m, err := time.Parse("2006-01-02 15:04", text)
		if err != nil {
			panic(err)
		}
		return m
	}
	return counted.Study{UID: ended + read + signed, Date: at(ended).Truncate(24 * time.Hour), Protocol: "comprehensive", Setting: setting,
		Times: counted.Times{Ended: at(ended), Read: at(read), Signed: at(signed)}}
}

// The standard of IAC 3.2.4A: inpatients within 24 hours, outpatients by the
// end of the next working day, signed within 48 hours of the reading. 30 October
// 2026 is a Friday.
func TestTimeliness(t *testing.T) {
	opt := audit.Defaults()
	opt.Period, _ = calendar.Month("2026-10")
	opt.Cutoff = day("2026-11-10")
	for _, one := range []struct {
		name        string
		study       counted.Study
		read, sign  stats.Proportion
		alsoHoliday bool
	}{
		{"inpatient in 24 h", timed("inpatient", "2026-10-29 15:00", "2026-10-30 15:00", "2026-11-01 15:00"), stats.Proportion{Count: 1, Total: 1}, stats.Proportion{Count: 1, Total: 1}, false},
		{"inpatient a minute late", timed("inpatient", "2026-10-29 15:00", "2026-10-30 15:01", ""), stats.Proportion{Count: 0, Total: 1}, stats.Proportion{Count: 0, Total: 1}, false},
		{"outpatient over the weekend", timed("outpatient", "2026-10-30 15:00", "2026-11-02 23:00", "2026-11-03 08:00"), stats.Proportion{Count: 1, Total: 1}, stats.Proportion{Count: 1, Total: 1}, false},
		{"outpatient a day late", timed("outpatient", "2026-10-30 15:00", "2026-11-03 00:01", "2026-11-05 00:02"), stats.Proportion{Count: 0, Total: 1}, stats.Proportion{Count: 0, Total: 1}, false},
		{"the next day is a holiday", timed("outpatient", "2026-10-30 15:00", "2026-11-03 20:00", "2026-11-03 21:00"), stats.Proportion{Count: 1, Total: 1}, stats.Proportion{Count: 1, Total: 1}, true},
		{"unread long after", timed("outpatient", "2026-10-30 15:00", "", ""), stats.Proportion{Count: 0, Total: 1}, stats.Proportion{}, false},
	} {
		opt.Standard = audit.DefaultStandard()
		if one.alsoHoliday {
			opt.Standard.Holidays = []time.Time{day("2026-11-02")}
		}
		r := audit.Build([]counted.Study{one.study}, opt)
		for _, h := range r.Headlines {
			if h.Measure.Identifier == audit.ReadInTime && h.Now != one.read {
				t.Errorf("%s: read %v, want %v", one.name, h.Now, one.read)
			}
			if h.Measure.Identifier == audit.SignedInTime && h.Now != one.sign {
				t.Errorf("%s: signed %v, want %v", one.name, h.Now, one.sign)
			}
		}
	}
}

// What is not yet due counts neither way.
func TestNotYetDue(t *testing.T) {
	opt := audit.Defaults()
	opt.Period, _ = calendar.Month("2026-10")
	opt.Cutoff = time.Date(2026, 10, 30, 18, 0, 0, 0, time.UTC)
	r := audit.Build([]counted.Study{timed("outpatient", "2026-10-30 15:00", "", "")}, opt)
	for _, h := range r.Headlines {
		if h.Measure.Identifier == audit.ReadInTime && h.Now.Total != 0 {
			t.Errorf("a study that is not due yet counts: %v", h.Now)
		}
	}
}

// demanded is a study with one completeness result.
func demanded(i int, outcome finding.Outcome, waiver tally.Effect) counted.Study {
	rule := &tally.Rule{Identifier: "a/present", Title: "A", Kind: finding.Completeness, Severity: finding.Warning}
	s := counted.Study{UID: fmt.Sprint("1.", i), Date: day("2026-10-05"), Protocol: "comprehensive",
		Results: tally.OutcomesOf(tally.Result{Rule: rule, Outcome: outcome, Severity: finding.Warning})}
	if waiver != "" {
		s.Waivers = []tally.Waiver{{Rule: rule.Identifier, Reason: "r", Effect: waiver}}
	}
	return s
}

// A waiver changes the figure with exceptions and never the strict one; one
// that counts as missing changes neither; what cannot be told is in neither.
func TestStrictAndWithExceptions(t *testing.T) {
	opt := audit.Defaults()
	opt.Period, _ = calendar.Month("2026-10")
	studies := []counted.Study{
		demanded(1, finding.Pass, ""), demanded(2, finding.Fail, ""), demanded(3, finding.Fail, tally.Exception), demanded(4, finding.Fail, tally.Exclusion),
		demanded(5, finding.Fail, tally.StaysOpen), demanded(6, finding.Excused, ""), demanded(7, finding.Open, ""), demanded(8, finding.Pass, tally.Exception),
		demanded(9, finding.NotApplicable, ""),
	}
	r := audit.Build(studies, opt)
	for _, table := range r.Tables {
		if table.Identifier != "completeness" {
			continue
		}
		row := table.Rows[0]
		if row[4].Share != (stats.Proportion{Count: 2, Total: 7}) || row[5].Share != (stats.Proportion{Count: 2, Total: 4}) {
			t.Errorf("strict %v, with exceptions %v; want 2/7 and 2/4", row[4].Share, row[5].Share)
		}
		if row[6].Count != 2 || row[7].Count != 3 || row[8].Count != 1 {
			t.Errorf("missing %d, reason recorded %d, cannot tell %d; want 2, 3, 1", row[6].Count, row[7].Count, row[8].Count)
		}
		return
	}
	t.Fatal("no table of completeness")
}

func TestExcludedWithReasons(t *testing.T) {
	opt := audit.Defaults()
	opt.Period, _ = calendar.Month("2026-10")
	limited := demanded(1, finding.Fail, "")
	limited.Protocol, limited.Kind = "limited", "Limited study"
	unread := counted.Study{UID: "2", Date: day("2026-10-06"), Unread: true}
	unknown := demanded(3, finding.Fail, "")
	unknown.Protocol = ""
	undated := demanded(4, finding.Fail, "")
	undated.Date = time.Time{}
	r := audit.Build([]counted.Study{limited, unread, unknown, undated, demanded(5, finding.Pass, "")}, opt)
	if r.Received != 4 || r.Eligible != 1 || len(r.Excluded) != 3 || r.Undated != 1 {
		t.Errorf("received %d, eligible %d, excluded %v, undated %d", r.Received, r.Eligible, r.Excluded, r.Undated)
	}
}

// Codes of staff differ between periods and between audiences, and nobody keeps
// a number by being first in some list.
func TestCodesAreDrawnAnew(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 1))
	studies := quiet(random, 1500)
	code := func(month, audience string) []string {
		opt := options(t)
		opt.Period, _ = calendar.Month(month)
		opt.Audience, opt.Actions = audience, nil
		r := audit.Build(studies, opt)
		var out []string
		for i := range 8 {
			out = append(out, r.LabelOf(fmt.Sprint("s", i)))
		}
		return out
	}
	a := code("2026-09", "lab")
	if !reflect.DeepEqual(a, code("2026-09", "lab")) {
		t.Error("the codes of one report are not repeatable")
	}
	if reflect.DeepEqual(a, code("2026-10", "lab")) || reflect.DeepEqual(a, code("2026-09", "board")) {
		t.Error("the codes are the same for another period or audience")
	}
}

// Below the floor nobody is judged, and of a single one below it the rest does
// not tell.
func TestSmallNumbersAreWithheld(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 1))
	studies := quiet(random, 2000)
	kept := 0
	for i := range studies {
		if studies[i].Sonographer == "s3" {
			if kept++; kept > 15 {
				studies[i].Sonographer = "s4"
			}
		}
	}
	opt := options(t)
	opt.Actions = nil
	r := audit.Build(studies, opt)
	for _, table := range r.Tables {
		if table.Identifier != "sonographers" {
			continue
		}
		withheld := 0
		for _, row := range table.Rows {
			for _, cell := range row[1:] {
				if (cell.Withheld == "") != (row[1].Withheld == "") {
					t.Errorf("%s is withheld in part", row[0].Text)
				}
			}
			if row[1].Withheld != "" {
				withheld++
			}
		}
		if withheld != 2 {
			t.Errorf("%d persons are withheld, want the one below the floor and one more", withheld)
		}
		return
	}
	t.Fatal("no table of sonographers")
}

func TestNobodyIsComparedAmongFew(t *testing.T) {
	random := rand.New(rand.NewPCG(4, 1))
	studies := quiet(random, 1000)
	for i := range studies {
		studies[i].Reader, studies[i].Sonographer = "r"+fmt.Sprint(i%4), ""
	}
	r := audit.Build(studies, options(t))
	if len(r.Funnels) != 0 {
		t.Error("four people are compared")
	}
	for _, table := range r.Tables {
		if table.Identifier == "readers" && len(table.Rows) > 0 {
			t.Error("figures of four people are shown")
		}
		if table.Identifier == "volumes" {
			for _, row := range table.Rows {
				if row[0].Text == "reader" {
					t.Error("volumes of four people are shown")
				}
			}
		}
	}
}

func TestActionLog(t *testing.T) {
	var log []actionlog.Entry
	record := func(e actionlog.Entry) (int, error) {
		e, err := actionlog.Next(log, e)
		if err == nil {
			log = append(log, e)
		}
		return e.Number, err
	}
	first := actionlog.Entry{Event: actionlog.Added, Title: "T", Owner: "lead", Measure: audit.Complete, Started: "2026-06-01", Due: "2026-09-01"}
	for want := 1; want <= 2; want++ {
		if n, err := record(first); err != nil || n != want {
			t.Fatalf("number %d, %v", n, err)
		}
	}
	if _, err := record(actionlog.Entry{Event: actionlog.Updated, Number: 2, Due: "2026-12-01"}); err != nil {
		t.Fatal(err)
	}
	if _, err := record(actionlog.Entry{Event: actionlog.Ended, Number: 1, Result: "seen", At: day("2026-10-01")}); err != nil {
		t.Fatal(err)
	}
	if _, err := record(actionlog.Entry{Event: actionlog.Updated, Number: 7, Title: "x"}); err == nil {
		t.Error("an action that is not there was changed")
	}
	if _, err := record(actionlog.Entry{Event: actionlog.Updated, Number: 2, Due: "soon"}); err == nil {
		t.Error("a due date in words was taken")
	}
	actions, err := actionlog.Actions(log)
	if err != nil || len(actions) != 2 {
		t.Fatalf("%d actions, %v", len(actions), err)
	}
	on := day("2026-10-15")
	if actions[0].State(on) != "closed" || actions[1].State(on) != "open" || actions[1].State(day("2027-01-01")) != "overdue" {
		t.Errorf("states: %s, %s", actions[0].State(on), actions[1].State(on))
	}
	if len(log) != 4 {
		t.Errorf("the log holds %d entries, every change adds one", len(log))
	}
	var file bytes.Buffer
	for _, e := range log {
		if err := json.NewEncoder(&file).Encode(e); err != nil {
			t.Fatal(err)
		}
	}
	if read, err := actionlog.Read(&file); err != nil || !reflect.DeepEqual(read, log) {
		t.Errorf("a log of a file: %v, %v", read, err)
	}
	if _, err := actionlog.Read(strings.NewReader("no json\n")); err == nil || !strings.Contains(err.Error(), "line 1") {
		t.Errorf("a damaged log gives %v", err)
	}
}

func TestFeedbackIsForOnePerson(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 1))
	studies := quiet(random, 1500)
	opt := options(t)
	f, found := audit.NewFeedback(studies, opt, "s2")
	if !found || f.Role != "sonographer" || f.TooFew != "" || len(f.Own) != 2 || f.Own[0].Band == nil || len(f.Gaps) == 0 || len(f.Gaps[0].Examples) != 3 || f.Action == "" {
		t.Fatalf("%+v", f)
	}
	n := 0
	for _, s := range studies {
		if s.Sonographer == "s2" {
			n++
		}
	}
	if f.Studies != n {
		t.Errorf("%d studies, the person did %d", f.Studies, n)
	}
	opt.Floor = n + 1
	if f, _ = audit.NewFeedback(studies, opt, "s2"); f.TooFew == "" || f.Flagged != nil || f.Curve != nil || f.Action != "" || len(f.Own) == 0 || f.Own[0].Band != nil || f.Own[0].Before.Total != 0 {
		t.Error("judged below the floor")
	}
	if _, found = audit.NewFeedback(studies, opt, "nobody"); found {
		t.Error("a sheet for nobody")
	}
}

// An effect is seen when the interval of the difference leaves zero out.
func TestEffectOfAnAction(t *testing.T) {
	opt := audit.Defaults()
	opt.Period, _ = calendar.Month("2026-10")
	opt.Actions = []actionlog.Action{{Number: 1, Measure: "rule:a/present", Started: day("2026-06-01")}, {Number: 2, Measure: "rule:a/present", Started: day("2026-10-20")}, {Number: 3, Measure: "nothing"}}
	var studies []counted.Study
	for i := range 400 {
		s := demanded(i, finding.Pass, "")
		s.Date = day("2025-12-01").AddDate(0, 0, i*300/400)
		if i%3 == 0 && s.Date.Before(day("2026-06-01")) {
			s.Results = demanded(i, finding.Fail, "").Results
		}
		studies = append(studies, s)
	}
	r := audit.Build(studies, opt)
	if e := r.Effects[0]; !e.Seen || e.Interval.Low <= 0 {
		t.Errorf("the effect is not seen: %s", e.Verdict)
	}
	if e := r.Effects[1]; e.Seen || !strings.Contains(e.Verdict, "too early") {
		t.Errorf("few studies since: %s", e.Verdict)
	}
	if e := r.Effects[2]; !strings.Contains(e.Verdict, "cannot tell") {
		t.Errorf("an unknown measure: %s", e.Verdict)
	}
}

func TestCompareShowsWhatChanges(t *testing.T) {
	opt := audit.Defaults()
	opt.Period, _ = calendar.Month("2026-10")
	before := []counted.Study{demanded(1, finding.Pass, ""), demanded(2, finding.Fail, ""), demanded(3, finding.Fail, "")}
	after := []counted.Study{demanded(1, finding.Pass, ""), demanded(2, finding.Pass, ""), demanded(3, finding.Fail, "")}
	tables := audit.Compare(before, after, opt)
	if len(tables[2].Rows) != 1 || tables[2].Rows[0][0].Text != "1.2" || tables[2].Rows[0][3].Text != "a/present (warning)" {
		t.Errorf("studies: %+v", tables[2].Rows)
	}
	if row := tables[0].Rows[0]; row[2].Share != (stats.Proportion{Count: 1, Total: 3}) || row[3].Share != (stats.Proportion{Count: 2, Total: 3}) {
		t.Errorf("rates: %+v", row)
	}
	if len(tables[1].Rows) != 1 || tables[1].Rows[0][1].Count != 2 || tables[1].Rows[0][2].Count != 1 {
		t.Errorf("rules: %+v", tables[1].Rows)
	}
}

// What print leaves out is only what was met by every study it was asked of.
func TestPlainRowsMissNothing(t *testing.T) {
	report := audit.Build(quiet(rand.New(rand.NewPCG(1, 1)), 600), options(t))
	whole := quiet(rand.New(rand.NewPCG(1, 1)), 600)
	for i := range whole {
		var results []tally.Result
		for res := range whole[i].Results.All() {
			results = append(results, res)
		}
		results[0].Outcome = finding.Pass
		whole[i].Results = tally.OutcomesOf(results...)
	}
	for _, c := range []struct {
		name         string
		report       *audit.Report
		shown, plain int
	}{{"some missing", report, 1, 0}, {"none missing", audit.Build(whole, options(t)), 0, 1}} {
		for _, table := range c.report.Tables {
			if table.Identifier != "completeness" {
				continue
			}
			shown, plain := table.Split()
			if len(shown.Rows) != c.shown || len(plain.Rows) != c.plain {
				t.Errorf("%s: %d rows shown and %d left out, want %d and %d", c.name, len(shown.Rows), len(plain.Rows), c.shown, c.plain)
			}
		}
	}
}
