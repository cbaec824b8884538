package demo

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"echotally/internal/judge"
	"echotally/internal/phantom"

	"echotally/internal/library"

	"echotally/internal/echo"
	"echotally/internal/extract"
	outcome "echotally/internal/finding"
	"echotally/internal/sr"
	"echotally/internal/srtest"
	"echotally/rules"
)

// TestHealthyChildrenGiveNoFinding puts every rule to whole studies of healthy
// children from birth to just below 18 years: far more than a child's worksheet
// holds, so that limits made for adults would show.
func TestHealthyChildrenGiveNoFinding(t *testing.T) {
	set, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	for _, age := range []float64{0, 1, 3, 6, 10, 14, 17} {
		for seed := range uint64(3) {
			t.Run(fmt.Sprintf("%g years, %d", age, seed), func(t *testing.T) {
				child := wholeChild(t, set, age, seed)
				j := judge.Study(set, child, judge.By{})
				protocols := j.Protocols
				if protocols.Base.Identifier != "paediatric" || len(protocols.Triggered) > 0 {
					t.Errorf("protocols %+v", protocols)
				}
				together(t, j.Reconciliation)
				passed := 0
				for _, r := range j.Results {
					if r.Outcome == outcome.Pass {
						passed++
					}
					judges := r.Kind == outcome.Consistency || r.Severity.Rank() > outcome.Information.Rank()
					if (r.Outcome == outcome.Fail || r.Outcome == outcome.Review) && judges {
						t.Errorf("%s: %s (%s): %s", r.Rule, r.Outcome, r.Severity, r.Message)
					}
				}
				if passed < 60 {
					t.Errorf("only %d rules could judge: the study is too thin to show anything", passed)
				}
			})
		}
	}
}

// together wants the measurements to fit without what was found in adults.
func together(t *testing.T, found *outcome.Reconciliation) {
	t.Helper()
	if found == nil {
		t.Fatal("nothing was taken together")
	}
	if len(found.Suspects) > 0 {
		t.Errorf("suspects %+v", found.Suspects)
	}
	for _, u := range found.Relations {
		if u.Identifier == "mean-pulmonary-pressure-by-acceleration-time" && u.Aside != "not for this age" {
			t.Errorf("a regression found in adults is presumed of a child")
		}
	}
}

// wholeChild is a healthy child of whom everything was measured.
func wholeChild(t *testing.T, set *library.Library, age float64, seed uint64) *echo.Study {
	t.Helper()
	random := rand.New(rand.NewPCG(seed, uint64(age)))
	p := phantom.ProfileNamed("child")
	p.Age = phantom.Span{Low: age, High: age}
	s := phantom.NewSubject(p, random)
	if age < 3 {
		s.Height = math.Round(52 + 25*age)
		s.Weight = math.Round(165*phantom.Square(s.Height/100)) / 10
		s.HeartRate, s.Systolic, s.Diastolic = 140-25*age, 72+12*age, 42+6*age
		s.BodySurface = phantom.Haycock(s.Height, s.Weight)
	}
	heart := phantom.NewCirculation(p, s, random)
	heart.Excursion = 0.9 + 0.09*age // about 0.9 cm at birth and 2.5 cm at 18 years (Koestenberger 2009, from memory)
	heart.RightS = heart.Excursion * 10 / 1.7
	heart.Strain = -22
	heart.AccelerationTime = min(heart.AccelerationTime, 0.42*heart.RightEjection)
	w := phantom.Taker{Record: &phantom.Record{Profile: p, Subject: s, Heart: heart}, Random: random}
	w.TakeLeftVentricle()
	w.TakeOutflow()
	w.TakeDiastole()
	w.TakeLeftAtrium()
	w.TakeAorticValve()
	w.TakeRightVentricle()
	w.TakePulmonary()
	w.TakeTricuspidInflow()
	w.TakeTricuspidJet()
	w.TakeVeins()
	w.SayFindings()
	w.AddScores()
	d := phantom.DialectNamed("petrelline")
	root := d.Write(d, w.Record)
	doc := srtest.Reread(t, d.Document(w.Record, phantom.Header{Study: "2.25.1", Series: "2.25.2", Instance: "2.25.3", Completion: "COMPLETE", Time: "1015"}, root))
	return extract.Study([]*sr.Document{doc}, extract.Catalogues{Measurands: set.Measurands, Statements: set.Statements})
}
