package audit

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"echotally/internal/calendar"
	"echotally/internal/counted"
	"echotally/internal/stats"
	"echotally/internal/stats/sequential"
	"echotally/internal/table"
)

// Learning are the rates of the learning curves. The test asks whether the
// share of studies that do not meet the measure is rather the acceptable or the
// unacceptable one.
type Learning struct {
	Acceptable   float64 // failure rate; 0: that of the sonographers of the lab who do not learn any more
	Unacceptable float64 // failure rate; 0: at twice the odds of the acceptable one
	Alpha        float64 // chance of a review at the acceptable rate
	Beta         float64 // chance of acceptance at the unacceptable rate

	origin string // of the rates in force, in words
}

// Origin says where the rates come from, "" for a choice that is not in force yet.
func (l Learning) Origin() string { return l.origin }

// LimitsFrom is the source of the decision limits.
const LimitsFrom = "limits of a sequential probability ratio test, Bolsin and Colson, Int J Qual Health Care 2000;12:433; begun anew after each decision, Sims, Keltie and Robson, Newcastle University ePrints 192363"

// DefaultLearning is the choice when the lab makes none: whoever learns is held
// against what the lab itself does, and doubled odds are what is to be found, as
// Steiner SH et al., Biostatistics 2000;1:441-452, choose for surgeons. Error
// rates of 0.10 are those for endoscopy in HPB 2009;11:565-569. No published
// rates are known for the completeness of echo studies.
func DefaultLearning() Learning { return Learning{Alpha: 0.10, Beta: 0.10} }

// words tells the choice.
func (l Learning) words() string {
	rate := func(x float64, otherwise string) string {
		if x == 0 {
			return otherwise
		}
		return fmt.Sprintf("%.3g %%", 100*x)
	}
	return fmt.Sprintf("acceptable %s, unacceptable %s, error rates %g and %g",
		rate(l.Acceptable, "as the other sonographers of the lab"), rate(l.Unacceptable, "at twice the odds"), l.Alpha, l.Beta)
}

// Bounds of a rate that is taken from the lab: at none or all the test has no
// meaning (site choice).
const leastRate, mostRate = 0.01, 0.60

// Where the lab has too few studies to tell its rate, 10 against 20 % hold, as
// for spinal anaesthesia in Kestin IG, Br J Anaesth 1995;75:805-809.
const (
	enoughForRate = 100 // studies (site choice): the rate is known to 8 points or better
	plainRate     = 0.10
)

// rates are the rates in force: what the lab leaves open is taken from those who
// do not learn any more.
func (r *builder) rates() Learning {
	l, own := r.opt.Learning, false
	l.origin = "the lab's settings"
	if l.Acceptable == 0 {
		m, _ := r.opt.Find(Complete)
		learns := r.learns()
		var p stats.Proportion
		for _, s := range r.look {
			if counted, met := m.Of(s); counted && s.Sonographer != "" && learns[s.Sonographer] == "" {
				p.Total++
				if !met {
					p.Count++
				}
			}
		}
		l.origin = fmt.Sprintf("fixed, since of those who learn no more there are fewer than %d studies; Kestin, Br J Anaesth 1995;75:805", enoughForRate)
		if l.Acceptable = plainRate; p.Total >= enoughForRate {
			l.Acceptable, own = min(mostRate, max(leastRate, p.Value())), true
			l.origin = "what the sonographers of the lab come to who learn no more"
		}
	}
	if l.Unacceptable <= l.Acceptable && (own || l.Unacceptable == 0) {
		l.Unacceptable = 2 * l.Acceptable / (1 + l.Acceptable) // twice the odds
		l.origin += "; unacceptable at twice the odds, Steiner et al., Biostatistics 2000;1:441"
	}
	return l
}

// learningFor is how long after the first study of the months shown somebody
// must begin to count as new (site choice: who is only away for a quarter is not
// taken for new).
const learningFor = 91 * 24 * time.Hour

// leastMissed is how many studies somebody would have done before, at the pace
// since, to count as new: with five, who is there seldom is taken for new once in
// 150 times (Poisson).
const leastMissed = 5

// Why somebody counts as learning.
const (
	isTrainee = "trainee by the list of staff"
	isNew     = "began within the months shown"
)

// learns tells who is learning, and why: a trainee by the list of staff, and who began
// within the months shown. Others are not judged by a curve of learning.
func (r *builder) learns() map[string]string {
	first, number := map[string]time.Time{}, map[string]int{}
	var begin, end time.Time
	out := map[string]string{}
	for _, s := range r.look {
		if begin.IsZero() || s.Date.Before(begin) {
			begin = s.Date
		}
		if s.Date.After(end) {
			end = s.Date
		}
		if s.Sonographer == "" {
			continue
		}
		number[s.Sonographer]++
		if at, known := first[s.Sonographer]; !known || s.Date.Before(at) {
			first[s.Sonographer] = s.Date
		}
		if s.Trainee {
			out[s.Sonographer] = isTrainee
		}
	}
	for who, at := range first {
		before, since := at.Sub(begin), end.Sub(at)+24*time.Hour
		if before >= learningFor && float64(number[who])*before.Hours() >= leastMissed*since.Hours() && out[who] == "" {
			out[who] = isNew
		}
	}
	return out
}

// Curve is the learning curve of one sonographer: the studies counted by a
// measure, in order.
type Curve struct {
	Measure Measure
	Why     string // the person counts as learning
	Rates   Learning
	Period  calendar.Period
	Studies []CurveStudy
	Test    sequential.Learning
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
func (r *builder) curveOf(studies []*counted.Study) *Curve {
	m, _ := r.opt.Find(Complete)
	c := &Curve{Measure: m, Rates: r.rates(), Period: r.opt.Period.Look()}
	var taken []*counted.Study
	for _, s := range studies {
		if in, _ := m.Of(s); in {
			taken = append(taken, s)
		}
	}
	slices.SortStableFunc(taken, func(a, b *counted.Study) int {
		return cmp.Or(a.Date.Compare(b.Date), a.Times.Ended.Compare(b.Times.Ended), strings.Compare(a.UID, b.UID))
	})
	failures := make([]bool, len(taken))
	for i, s := range taken {
		_, met := m.Of(s)
		failures[i] = !met
		c.Studies = append(c.Studies, CurveStudy{s.Date, met})
		alike := func(o *counted.Study) bool {
			return o.Date.Equal(s.Date) && (o.Times.Ended.IsZero() || s.Times.Ended.IsZero() || o.Times.Ended.Equal(s.Times.Ended))
		}
		if i > 0 && alike(taken[i-1]) || i+1 < len(taken) && alike(taken[i+1]) {
			c.Unsure++
		}
	}
	c.Test = sequential.NewLearning(failures, c.Rates.Acceptable, c.Rates.Unacceptable, c.Rates.Alpha, c.Rates.Beta)
	return c
}

// ownCurve is the curve for the person's own sheet; nil below the floor and for
// who is not learning.
func (r *builder) ownCurve(studies []*counted.Study) *Curve {
	if len(studies) == 0 {
		return nil
	}
	why := r.learns()[studies[0].Sonographer]
	if why == "" {
		return nil
	}
	if c := r.curveOf(studies); len(c.Studies) >= r.opt.Floor {
		c.Why = why
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
func (c *Curve) decided(acceptable bool) (n int, first table.Cell) {
	first = table.WithheldCell("not yet")
	for _, d := range c.Test.Decisions {
		if d.Acceptable != acceptable {
			continue
		}
		if n++; n == 1 {
			first = table.CountCell(d.At + 1)
		}
	}
	return n, first
}

// learning is the table of the curves, withheld as the other figures of people
// are. It makes no signal: a sequence tested again and again is no test of the
// family.
func (r *builder) learning() table.Table {
	one := roles()[0]
	staff := r.staff(one)
	if len(staff) == 0 {
		return table.Table{}
	}
	m, _ := r.opt.Find(Complete)
	learns := r.learns()
	var learners []person
	for _, p := range staff {
		if learns[p.pseudonym] != "" {
			learners = append(learners, p)
		}
	}
	t := table.Table{
		Identifier: "learning", Title: "Learning curves: " + m.Title,
		Note: fmt.Sprintf("Measure: %s. Followed study by study is each sonographer who is learning (trainees by the list of staff, and who began within the months shown), as a resetting sequential test: each decision begins a new one. %s At an acceptable rate about one test in %.0f still asks for a look, so that a decision is a reason to talk, not a verdict; case-mix and the order of studies tell on it. Who has worked longer is not judged by it. The drawn curve is on the person's own sheet.",
			m.Title, r.rates().Limits(), 1/r.opt.Learning.Alpha),
		Columns: []table.Column{
			table.NewColumn("person", "Person", table.Words, "code of this period and audience"), table.NewColumn("learns", "Learns as", table.Words, "why the person counts as learning; the two kinds are told apart only where each has enough people"),
			table.MachineColumn("measure", "Measure", table.Words, "identifier of the measure that is followed"), table.MachineColumn("acceptable_rate", "Acceptable rate", table.Number, "% of studies that may lack something"),
			table.MachineColumn("unacceptable_rate", "Unacceptable rate", table.Number, "% of studies that is too many"),
			table.NewColumn("share", "Met", table.Share, m.Meaning+"; studies of the months shown"),
			table.NewColumn("acceptable", "Acceptable", table.Count, "tests that ended with an acceptable rate"), table.NewColumn("first_acceptable", "First at study", table.Count, "number of the study, in order, at which the first of them ended"),
			table.NewColumn("review", "To look at", table.Count, "tests that ended with an unacceptable rate"), table.NewColumn("first_review", "First at study", table.Count, "number of the study, in order, at which the first of them ended"),
			table.NewColumn("standing", "Last decision", table.Words, "what the last test that ended said"),
		},
	}
	// A row of few would tell who they are, here and in the other tables.
	if len(learners) < r.opt.People {
		t.Note += fmt.Sprintf(" Fewer than %d are learning: no figures of single persons are shown.", r.opt.People)
		return t
	}
	r.curveRows(&t, one, learners, r.learnsAs(learners, learns))
	return t
}

// learnsAs says why each learns; of a kind that only few are of, both kinds together,
// since it would tell who they are.
func (r *builder) learnsAs(learners []person, learns map[string]string) func(person) string {
	counts := map[string]int{}
	for _, p := range learners {
		counts[learns[p.pseudonym]]++
	}
	for _, n := range counts {
		if n < r.opt.People {
			return func(person) string { return "trainee or new" }
		}
	}
	return func(p person) string { return learns[p.pseudonym] }
}

// Limits says between which rates a curve decides, at which limits, and where both
// come from.
func (l Learning) Limits() string {
	test := sequential.NewLearning(nil, l.Acceptable, l.Unacceptable, l.Alpha, l.Beta)
	return fmt.Sprintf("Acceptable is a rate of %.3g %% that lack something, unacceptable one of %.3g %% (%s). The sum of what is lacking over what is to be expected is acceptable at −%.2f and to be looked at from +%.2f, with error rates of %g and %g (%s).",
		100*l.Acceptable, 100*l.Unacceptable, l.origin, test.Accept, test.Review, l.Alpha, l.Beta, LimitsFrom)
}

func (r *builder) curveRows(t *table.Table, one role, staff []person, as func(person) string) {
	curves, now, look := make([]*Curve, len(staff)), make([]int, len(staff)), make([]int, len(staff))
	for i, p := range staff {
		curves[i] = r.curveOf(ownStudies(r.look, one, p.pseudonym))
		now[i], look[i] = len(p.studies), len(curves[i].Studies)
	}
	// Whoever is withheld in the table of the period is withheld here too.
	reasons := r.withheldStaff(look, r.withheldStaff(now, nil))
	for i, p := range staff {
		if reasons[i] != "" {
			row := []table.Cell{table.TextCell(p.label)}
			for range t.Columns[1:] {
				row = append(row, table.WithheldCell(reasons[i]))
			}
			t.Add(row...)
			continue
		}
		c := curves[i]
		accepted, first := c.decided(true)
		review, firstReview := c.decided(false)
		t.Add(table.TextCell(p.label), table.TextCell(as(p)), table.TextCell(c.Measure.Identifier), table.NumberCell(100*c.Rates.Acceptable), table.NumberCell(100*c.Rates.Unacceptable),
			table.ShareCell(c.Met()), table.CountCell(accepted), first, table.CountCell(review), firstReview, table.TextCell(c.Standing()))
	}
}
