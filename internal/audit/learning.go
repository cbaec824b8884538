package audit

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"echotally/internal/stats"
)

// Learning are the rates of the learning curves. The test asks whether the
// share of studies that do not meet the measure is rather the acceptable or the
// unacceptable one.
type Learning struct {
	Acceptable, Unacceptable float64 // failure rates
	Alpha                    float64 // chance of a review at the acceptable rate
	Beta                     float64 // chance of acceptance at the unacceptable rate
}

// DefaultLearning is the choice when the lab makes none: 10 against 20 %, as for
// spinal anaesthesia in Kestin IG, Br J Anaesth 1995;75:805-809, and error rates
// of 0.10, as for endoscopy in HPB 2009;11:565-569. No published rates are known
// for the completeness of echo studies (site choice).
func DefaultLearning() Learning {
	return Learning{Acceptable: 0.10, Unacceptable: 0.20, Alpha: 0.10, Beta: 0.10}
}

// words tells the rates.
func (l Learning) words() string {
	return fmt.Sprintf("acceptable %g %%, unacceptable %g %%, error rates %g and %g", 100*l.Acceptable, 100*l.Unacceptable, l.Alpha, l.Beta)
}

// Curve is the learning curve of one sonographer: the studies counted by a
// measure, in order.
type Curve struct {
	Measure Measure
	Rates   Learning
	Period  Period
	Studies []CurveStudy
	Test    stats.Learning
	Unsure  int // studies of a day on which the order is not known
}

// CurveStudy is one study of a curve. It names nobody.
type CurveStudy struct {
	Date time.Time
	Met  bool
}

// curveOf puts the studies in order: by date, within the day by the end of the
// study. Imports may come in any order. Without both ends the order of a day
// cannot be told and is that of the identifiers.
func (r *builder) curveOf(studies []*Study) *Curve {
	m, _ := r.opt.Find(Complete)
	c := &Curve{Measure: m, Rates: r.opt.Learning, Period: r.opt.Period.Look()}
	var counted []*Study
	for _, s := range studies {
		if in, _ := m.Of(s); in {
			counted = append(counted, s)
		}
	}
	slices.SortStableFunc(counted, func(a, b *Study) int {
		return cmp.Or(a.Date.Compare(b.Date), a.Times.Ended.Compare(b.Times.Ended), strings.Compare(a.UID, b.UID))
	})
	failures := make([]bool, len(counted))
	for i, s := range counted {
		_, met := m.Of(s)
		failures[i] = !met
		c.Studies = append(c.Studies, CurveStudy{s.Date, met})
		alike := func(o *Study) bool {
			return o.Date.Equal(s.Date) && (o.Times.Ended.IsZero() || s.Times.Ended.IsZero() || o.Times.Ended.Equal(s.Times.Ended))
		}
		if i > 0 && alike(counted[i-1]) || i+1 < len(counted) && alike(counted[i+1]) {
			c.Unsure++
		}
	}
	c.Test = stats.NewLearning(failures, c.Rates.Acceptable, c.Rates.Unacceptable, c.Rates.Alpha, c.Rates.Beta)
	return c
}

// ownCurve is the curve for the person's own sheet; nil below the floor.
func (r *builder) ownCurve(studies []*Study) *Curve {
	if c := r.curveOf(studies); len(c.Studies) >= r.opt.Floor {
		return c
	}
	return nil
}

// Met counts the studies of the curve.
func (c *Curve) Met() stats.Proportion {
	p := stats.Proportion{Total: len(c.Studies)}
	for _, s := range c.Studies {
		if s.Met {
			p.Count++
		}
	}
	return p
}

// Standing says where the curve stands.
func (c *Curve) Standing() string {
	if len(c.Test.Decisions) == 0 {
		return "cannot tell yet"
	}
	last := c.Test.Decisions[len(c.Test.Decisions)-1]
	word := "look at it together"
	if last.Acceptable {
		word = "acceptable"
	}
	return fmt.Sprintf("%s, at study %d", word, last.At+1)
}

// decided counts the decisions of one kind and gives the number of the first
// study that made one.
func (c *Curve) decided(acceptable bool) (n int, first Cell) {
	first = withheld("not yet")
	for _, d := range c.Test.Decisions {
		if d.Acceptable != acceptable {
			continue
		}
		if n++; n == 1 {
			first = count(d.At + 1)
		}
	}
	return n, first
}

// learning is the table of the curves, withheld as the other figures of people
// are. It makes no signal: a sequence tested again and again is no test of the
// family.
func (r *builder) learning() Table {
	one := roles()[0]
	staff := r.staff(one)
	if len(staff) == 0 {
		return Table{}
	}
	m, _ := r.opt.Find(Complete)
	t := Table{
		Identifier: "learning", Title: "Learning curves",
		Note: fmt.Sprintf("%s, study by study of each sonographer in the months shown, as a resetting sequential test (%s): each decision begins a new one. At an acceptable rate about one test in %.0f still asks for a look, so that a decision is a reason to talk, not a verdict; case-mix and the order of studies tell on it. The drawn curve is on the person's own sheet.",
			m.Title, r.opt.Learning.words(), 1/r.opt.Learning.Alpha),
		Columns: []Column{
			column("person", "Person", Words, "code of this period and audience"), column("share", "Met", Share, m.Meaning+"; studies of the months shown"),
			column("acceptable", "Acceptable", Count, "tests that ended with an acceptable rate"), column("first_acceptable", "First at study", Count, "number of the study, in order, at which the first of them ended"),
			column("review", "To look at", Count, "tests that ended with an unacceptable rate"), column("first_review", "First at study", Count, "number of the study, in order, at which the first of them ended"),
			column("standing", "Last decision", Words, "what the last test that ended said"),
		},
	}
	if len(staff) < r.opt.People {
		t.Note += fmt.Sprintf(" There are %d: no figures of single persons are shown.", len(staff))
		return t
	}
	r.curveRows(&t, one, staff)
	return t
}

func (r *builder) curveRows(t *Table, one role, staff []person) {
	curves, now, look := make([]*Curve, len(staff)), make([]int, len(staff)), make([]int, len(staff))
	for i, p := range staff {
		curves[i] = r.curveOf(ownStudies(r.look, one, p.pseudonym))
		now[i], look[i] = len(p.studies), len(curves[i].Studies)
	}
	// Whoever is withheld in the table of the period is withheld here too.
	reasons := r.withheldStaff(look, r.withheldStaff(now, nil))
	for i, p := range staff {
		if reasons[i] != "" {
			row := []Cell{words(p.label)}
			for range t.Columns[1:] {
				row = append(row, withheld(reasons[i]))
			}
			t.add(row...)
			continue
		}
		c := curves[i]
		accepted, first := c.decided(true)
		review, firstReview := c.decided(false)
		t.add(words(p.label), share(c.Met()), count(accepted), first, count(review), firstReview, words(c.Standing()))
	}
}
