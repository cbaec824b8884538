package audit_test

import (
	"cmp"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"math"
	"runtime"
	"runtime/debug"
	"slices"
	"sync"
	"testing"
	"time"

	"echotally/internal/actionlog"
	"echotally/internal/audit"
	"echotally/internal/calendar"
	"echotally/internal/counted"
	"echotally/internal/dcm"
	"echotally/internal/demo/labyear"
	"echotally/internal/echo"
	"echotally/internal/extract"
	"echotally/internal/library"
	"echotally/internal/rejudge"
	"echotally/internal/run"
	"echotally/internal/sr"
	"echotally/rules"
)

// ruleSet loads the shipped rules.
func ruleSet(t testing.TB) *library.Library {
	t.Helper()
	set, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	return set
}

// compose reads a study of the demo lab as the pipeline does: from its files, or from the
// data sets that would be written to them, which takes half the time.
func compose(set *library.Library, s labyear.Study, fromFiles bool) (*echo.Study, error) {
	var reports []*echo.Study
	for _, object := range s.Reports() {
		file := &dcm.File{Dataset: object.Dataset}
		if fromFiles {
			b, err := object.Bytes()
			if err != nil {
				return nil, err
			}
			if file, err = dcm.ReadBytes(b); err != nil {
				return nil, err
			}
		}
		document, err := sr.Parse(file)
		if err != nil {
			return nil, err
		}
		report := extract.Report(document, extract.Catalogues{Measurands: set.Measurands, Statements: set.Statements})
		for i := range report.Documents[0].Staff {
			p := &report.Documents[0].Staff[i]
			p.Pseudonym = pseudonym(p.Name.Reveal())
		}
		reports = append(reports, report)
	}
	return run.Compose(set, reports, nil), nil
}

// pseudonym stands for the ledger's keyed hash.
func pseudonym(name string) string { return mark("pseudonym " + name) }

func mark(text string) string {
	h := hmac.New(sha256.New, []byte("a key for tests"))
	h.Write([]byte(text))
	return hex.EncodeToString(h.Sum(nil))
}

// year is the demo year, judged and reduced, in order, every tenth study read from files.
// A study is judged and let go as it is made: all the reports of a year at once would take
// gigabytes.
func year(t testing.TB, set *library.Library, opt labyear.Options) []counted.Study {
	t.Helper()
	defer debug.SetGCPercent(debug.SetGCPercent(400)) // little lives for long
	type job struct {
		place int
		made  labyear.Study
	}
	type judged struct {
		place int
		study counted.Study
		err   error
	}
	jobs, done := make(chan job), make(chan judged)
	var wait sync.WaitGroup
	for range runtime.NumCPU() {
		wait.Go(func() {
			judge := rejudge.New(set, set)
			for j := range jobs {
				study, err := compose(set, j.made, j.place%10 == 0)
				if err != nil {
					done <- judged{err: err}
					continue
				}
				protocols, results := judge.Before(study)
				out := judge.Was.Reduce(study, protocols, results, nil)
				know(&out, j.made)
				done <- judged{place: j.place, study: out}
			}
		})
	}
	var making error
	go func() {
		place := 0
		making = labyear.Studies(opt, func(s labyear.Study) error { jobs <- job{place, s}; place++; return nil })
		close(jobs)
		wait.Wait()
		close(done)
	}()
	var all []judged
	var reading error
	for one := range done {
		reading = errors.Join(reading, one.err)
		all = append(all, one)
	}
	if err := errors.Join(making, reading); err != nil {
		t.Fatal(err)
	}
	slices.SortFunc(all, func(a, b judged) int { return cmp.Compare(a.place, b.place) })
	out := make([]counted.Study, len(all))
	for i := range all {
		out[i] = all[i].study
	}
	return out
}

// know adds what the lab's own systems know.
func know(s *counted.Study, made labyear.Study) {
	s.Lab, s.Setting = "Harbourlight", made.Setting
	s.Sonographer, s.Reader = pseudonym(made.Sonographer), pseudonym(made.Reader)
	s.Times = counted.Times{Ended: made.Ended, Read: made.Read, Signed: made.Signed}
}

func options(t testing.TB) audit.Options {
	t.Helper()
	opt := audit.Defaults()
	var err error
	if opt.Period, err = calendar.Between("2025-11-01", "2026-10-31"); err != nil {
		t.Fatal(err)
	}
	opt.Cutoff = time.Date(2026, 11, 15, 0, 0, 0, 0, time.UTC)
	opt.Mark = mark
	opt.Scales = counted.ScalesOf(ruleSet(t))
	for i, story := range labyear.Stories() {
		if a := story.Action; a != nil {
			started, err := time.Parse(time.DateOnly, a.Started)
			if err != nil {
				t.Fatal(err)
			}
			opt.Actions = append(opt.Actions, actionlog.Action{Number: i + 1, Title: a.Title, Cause: a.Cause, Owner: a.Owner, Measure: a.Measure, Started: started})
		}
	}
	return opt
}

// The audit of the demo year finds every story the demo tells and no other, at
// the rate of false signals it states.
func TestYearTellsItsStories(t *testing.T) {
	if testing.Short() {
		t.Skip("left out by -short: 3000 studies are made, read and judged")
	}
	report := audit.Build(year(t, ruleSet(t), labyear.Options{Seed: 1}), options(t))
	if report.Received != 3000 {
		t.Errorf("%d studies, 12 months of 250 were made", report.Received)
	}
	stories := labyear.Stories()
	told := make([]map[string]bool, len(stories))
	unexplained := 0
	for _, s := range report.Signals {
		found := false
		for i, story := range stories {
			if told[i] == nil {
				told[i] = map[string]bool{}
			}
			switch {
			case story.Signal == string(s.Kind) && slices.Contains(story.Measures, s.Measure) && where(t, report, story, s):
				told[i][s.Measure], found = true, true
			case (s.Kind == audit.BeyondLimit || s.Kind == audit.UnusualRuns) && slices.Contains(append(story.Also, story.Measures...), s.Measure):
				found = true // what the story does to the months
			}
		}
		if found {
			continue
		}
		if s.Kind != audit.BeyondLimit && s.Kind != audit.UnusualRuns {
			t.Errorf("no story tells of %s: %s", s.Kind, s.Text)
		}
		unexplained++
	}
	// Of the charts, chance alone gives as many as the report says.
	if float64(unexplained) > report.Chance.FalseChart+2 {
		t.Errorf("%d signals that no story tells of, %.1f stated", unexplained, report.Chance.FalseChart)
	}
	for i, story := range stories {
		for _, m := range story.Measures {
			if !told[i][m] {
				t.Errorf("story %s: nothing said of %s", story.Kind, m)
			}
		}
		if story.Action == nil {
			continue
		}
		for _, e := range report.Effects {
			if e.Action.Title == story.Action.Title && e.Seen != story.Effect {
				t.Errorf("story %s: %s", story.Kind, e.Verdict)
			}
		}
	}
	secondReadings(t, report)
	if len(report.Proposals) != 3 || report.Proposals[0].Measure != audit.Views {
		t.Errorf("what would help most: %+v", report.Proposals)
	}
}

// secondReadings: about a tenth of 3000 studies is read by two, and the first
// reads TAPSE larger by 8 %, which at 20 mm are 1.6, and nothing else.
func secondReadings(t *testing.T, report *audit.Report) {
	t.Helper()
	rows := 0
	for _, table := range report.Tables {
		if table.Identifier != "agreement" {
			continue
		}
		for _, row := range table.Rows {
			if row[0].Text != string(counted.TwoObservers) {
				continue
			}
			rows++
			pairs, bias, sd := float64(row[3].Count), row[5].Number, row[6].Number
			excursion := row[1].Text == "Tricuspid annular plane systolic excursion"
			if excursion && (pairs < 150 || bias > -1 || bias < -2.5 || row[5].Between.High >= 0) {
				t.Errorf("TAPSE by two readers: %.0f pairs, bias %.2f %s, %v", pairs, bias, row[2].Text, row[5].Between)
			}
			// Four standard errors: one of dozens of quantities by chance once in hundreds of years.
			if se := sd / math.Sqrt(pairs); !excursion && math.Abs(bias) > 4*se {
				t.Errorf("%s by two readers: bias %.3f, standard error %.3f; none was put in", row[1].Text, bias, se)
			}
		}
	}
	if rows < 20 {
		t.Errorf("%d quantities read by two, dozens were put in", rows)
	}
}

// where tells whether the signal points at the one the story is about.
func where(t *testing.T, r *audit.Report, story labyear.Story, s audit.Signal) bool {
	t.Helper()
	if s.Kind == audit.OfSoftware {
		return s.Where == story.Where
	}
	return s.Where == r.LabelOf(pseudonym(story.Where))
}
