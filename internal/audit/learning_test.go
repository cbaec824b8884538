package audit_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"echotally/internal/audit"
	"echotally/internal/calendar"
	"echotally/internal/counted"
	"echotally/internal/finding"
	"echotally/internal/stats"
	"echotally/internal/stats/sequential"
	"echotally/internal/table"
)

// learner makes the studies of one sonographer, one a day, the first so many
// without a gap and the next so many with one.
func learner(name string, met, missing int) []counted.Study {
	var out []counted.Study
	for i := range met + missing {
		outcome := finding.Pass
		if i >= met {
			outcome = finding.Fail
		}
		s := demanded(i, outcome, "")
		s.UID, s.Sonographer, s.Date = fmt.Sprintf("1.%s.%03d", name, i), name, day("2026-09-01").AddDate(0, 0, i)
		s.Trainee = true
		out = append(out, s)
	}
	return out
}

func learningOptions() audit.Options {
	opt := audit.Defaults()
	opt.Period, _ = calendar.Between("2026-09-01", "2026-10-31")
	opt.Learning.Acceptable, opt.Learning.Unacceptable = 0.10, 0.20
	return opt
}

// The curve follows the dates and ends of the studies, whatever order they come
// in: 19 studies without a gap are acceptable, four with one right after ask for
// a look.
func TestCurveFollowsTheOrderOfTheStudies(t *testing.T) {
	studies := learner("s1", 19, 4)
	opt := learningOptions()
	for range 5 {
		rand.New(rand.NewPCG(1, 9)).Shuffle(len(studies), func(i, j int) { studies[i], studies[j] = studies[j], studies[i] })
		f, found := audit.NewFeedback(studies, opt, "s1")
		if !found || f.Curve == nil {
			t.Fatal("no curve")
		}
		want := []sequential.Decision{{At: 18, Acceptable: true}, {At: 22}}
		if c := f.Curve; !slices.Equal(c.Test.Decisions, want) || c.Unsure != 0 || c.Met() != (stats.Proportion{Count: 19, Total: 23}) || !strings.HasSuffix(c.Standing(), "at study 23") {
			t.Fatalf("decisions %v, unsure %d, met %v, %s", c.Test.Decisions, c.Unsure, c.Met(), c.Standing())
		}
	}
}

// Who learns is held against what the lab itself does: where a fifth of all
// studies lack something, a newcomer with the same share is not asked for a look,
// whom 10 against 20 % would ask. Who was there before has no curve.
func TestLearnersAreHeldAgainstTheLab(t *testing.T) {
	var studies []counted.Study
	every := func(name string, from time.Time, n, of int) {
		for i := range n {
			outcome := finding.Pass
			if i%of == of-1 {
				outcome = finding.Fail
			}
			s := demanded(i, outcome, "")
			s.UID, s.Sonographer, s.Date = fmt.Sprintf("1.%s.%03d", name, i), name, from.AddDate(0, 0, i)
			studies = append(studies, s)
		}
	}
	every("long", day("2025-11-03"), 300, 5)
	every("new", day("2026-06-01"), 150, 5)
	opt := audit.Defaults()
	opt.Period, _ = calendar.Between("2025-11-01", "2026-10-31")
	if f, _ := audit.NewFeedback(studies, opt, "long"); f.Curve != nil {
		t.Error("a curve of learning of who does not learn")
	}
	f, _ := audit.NewFeedback(studies, opt, "new")
	if f.Curve == nil {
		t.Fatal("no curve of the newcomer")
	}
	// Twice the odds of 1 to 4 are 1 to 2.
	if r := f.Curve.Rates; r.Acceptable != 0.2 || math.Abs(r.Unacceptable-1.0/3) > 1e-12 {
		t.Errorf("rates %+v, want 0.2 and 1/3", r)
	}
	review := func(f *audit.Feedback) bool {
		return slices.ContainsFunc(f.Curve.Test.Decisions, func(d sequential.Decision) bool { return !d.Acceptable })
	}
	if review(f) {
		t.Error("the share of the lab asks for a look")
	}
	opt.Learning.Acceptable, opt.Learning.Unacceptable = 0.10, 0.20
	if f, _ = audit.NewFeedback(studies, opt, "new"); !review(f) {
		t.Error("a fifth passes 10 against 20 %")
	}
}

// Of one day, the end of the studies tells the order; without it that is said.
func TestCurveSaysWhereTheOrderIsNotKnown(t *testing.T) {
	studies := learner("s1", 19, 4)
	for i := range studies {
		studies[i].Date = day("2026-10-05")
		studies[i].Times.Ended = day("2026-10-05").Add(time.Duration(30-i) * time.Minute) // backwards
	}
	opt := learningOptions()
	f, _ := audit.NewFeedback(studies, opt, "s1")
	if want := []sequential.Decision{{At: 3}, {At: 22, Acceptable: true}}; !slices.Equal(f.Curve.Test.Decisions, want) || f.Curve.Unsure != 0 {
		t.Errorf("decisions %v, unsure %d; the four with a gap were the first", f.Curve.Test.Decisions, f.Curve.Unsure)
	}
	studies[5].Times.Ended = time.Time{}
	if f, _ = audit.NewFeedback(studies, opt, "s1"); f.Curve.Unsure == 0 {
		t.Error("a study without an end is put into the day as if its place were known")
	}
}

// Readers have no curve, those who are not counted are not in it, and the lab's
// rates judge.
func TestCurveCountsWhatTheMeasureCounts(t *testing.T) {
	studies := learner("s1", 24, 0)
	studies[3].Protocol, studies[4].Unread = "limited", true
	for i := range studies {
		studies[i].Reader = "r1"
	}
	opt := learningOptions()
	f, _ := audit.NewFeedback(studies, opt, "s1")
	if len(f.Curve.Studies) != 22 {
		t.Errorf("%d studies in the curve, 22 are eligible", len(f.Curve.Studies))
	}
	if f, _ := audit.NewFeedback(studies, opt, "r1"); f.Curve != nil {
		t.Error("a reader has a curve of completeness")
	}
	if err := opt.ReadSettings("lab.yaml", []byte("learning: {acceptable: 0.04, unacceptable: 0.08}")); err != nil {
		t.Fatal(err)
	}
	if f, _ := audit.NewFeedback(studies, opt, "s1"); len(f.Curve.Test.Decisions) != 0 {
		t.Error("at 4 against 8 % 22 studies tell nothing (2.9865/0.0578 needs 52)")
	}
	opt.Floor = 23
	if f, _ := audit.NewFeedback(studies, opt, "s1"); f.Curve != nil {
		t.Error("a curve of fewer studies than the floor")
	}
}

// The table shows the curves of enough people with enough studies, and withholds
// the same persons as the other figures of people.
func TestCurvesAreWithheld(t *testing.T) {
	table := func(studies []counted.Study, opt audit.Options, name string) table.Table {
		for _, one := range audit.Build(studies, opt).Tables {
			if one.Identifier == name {
				return one
			}
		}
		return table.Table{}
	}
	var studies []counted.Study
	for i, n := range []int{19, 25, 30, 35, 40, 45} {
		studies = append(studies, learner(fmt.Sprint("s", i), n, 0)...)
	}
	opt := learningOptions()
	got, people := table(studies, opt, "learning"), table(studies, opt, "sonographers")
	withheld := 0
	for i, row := range got.Rows {
		if row[0].Text != people.Rows[i][0].Text || (row[1].Withheld == "") != (people.Rows[i][1].Withheld == "") {
			t.Errorf("%s: withheld in one table and not in the other", row[0].Text)
		}
		for _, cell := range row[1:7] {
			if (cell.Withheld == "") != (row[1].Withheld == "") {
				t.Errorf("%s is withheld in part", row[0].Text)
			}
		}
		if row[1].Withheld != "" {
			withheld++
		} else if row[6].Count < 1 || row[7].Count != 19 || row[9].Withheld != "not yet" {
			t.Errorf("%s: a flawless record is acceptable %d times, first at %v", row[0].Text, row[6].Count, row[7])
		} else if row[1].Text != "trainee by the list of staff" || row[2].Text != audit.Complete || math.Abs(row[3].Number-10) > 1e-9 || math.Abs(row[4].Number-20) > 1e-9 {
			t.Errorf("%s: said to learn as %q, by %s from %v to %v %%", row[0].Text, row[1].Text, row[2].Text, row[3].Number, row[4].Number)
		}
	}
	if len(got.Rows) != 6 || withheld != 2 {
		t.Errorf("%d rows, %d withheld; want the one below the floor and one more of six", len(got.Rows), withheld)
	}
	// ln 9 over ln 2.25, of 10 against 20 % with errors of a tenth (worked by hand).
	if !strings.Contains(got.Note, "acceptable at −2.71 and to be looked at from +2.71") || !strings.Contains(got.Note, "Bolsin and Colson") || !strings.Contains(got.Note, "the lab's settings") {
		t.Error(got.Note)
	}
	// One who is no trainee by the list must not stand out as the only one.
	mixed := slices.Clone(studies)
	for i := range mixed {
		if mixed[i].Sonographer == "s5" {
			mixed[i].Trainee, mixed[i].Date = false, mixed[i].Date.AddDate(0, 6, 0)
		}
	}
	later := opt
	later.Period, _ = calendar.Between("2026-09-01", "2027-05-31")
	for _, row := range table(mixed, later, "learning").Rows {
		if row[1].Withheld == "" && row[1].Text != "trainee or new" {
			t.Errorf("%s: %s, where one learns as new", row[0].Text, row[1].Text)
		}
	}
	if few := table(studies[:19+25+30+35], opt, "learning"); len(few.Rows) != 0 || !strings.Contains(few.Note, "Fewer than 5 are learning") {
		t.Errorf("four people: %d rows, %s", len(few.Rows), few.Note)
	}
	if none := table(learner("", 30, 0), opt, "learning"); none.Identifier != "" {
		t.Error("a table of nobody's curves")
	}
}
