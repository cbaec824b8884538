package audit

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"sort"
	"time"

	"echotally/internal/calendar"
	"echotally/internal/counted"
	"echotally/internal/finding"
	"echotally/internal/stats"
	"echotally/internal/tally"
)

// Feedback is one person's own figures of a period.
type Feedback struct {
	Period  calendar.Period
	Edition string // of the guidelines
	Lab     string // its name, as on the lab's pages
	Role    string
	Studies int
	TooFew  string // why nothing is judged, "" when it is; then figures are counts, without a band
	Own     []OwnFigure
	Flagged []Flag
	Curve   *Curve // the learning curve, of who is learning only
	Gaps    []Gap
	Action  string
}

// OwnFigure is one measure of the person beside the band of the lab.
type OwnFigure struct {
	Measure Measure
	Own     stats.Proportion
	Before  stats.Proportion // in the months shown before the period
	Band    *Band            // nil when there are too few people to show one without showing single ones
	Lacking []Example        // studies counted that do not meet it, the latest first
}

// Band is where the members of the lab lie, without saying who.
type Band struct {
	People            int
	Low, Median, High float64 // 10th centile, median, 90th centile
}

// Gap is what is most often missing, with studies to look at.
type Gap struct {
	Title, Rule string
	Times       stats.Proportion
	Examples    []Example // latest first
}

// Example is a study to look at.
type Example struct {
	UID  string
	Date time.Time
}

// Flag is what the lab's report flags about the person, among all its tests.
type Flag struct {
	Title       string
	Own, Others stats.Proportion
	Counted     string // what is counted, in words
}

// flagsOf are the signals about a person, by the ledger's pseudonym.
func (r *Report) flagsOf(pseudonym string) []Flag {
	var out []Flag
	for _, s := range r.Signals {
		if s.Person != pseudonym || pseudonym == "" {
			continue
		}
		f := Flag{Title: s.Title, Own: s.To, Others: s.From, Counted: "studies"}
		if s.Kind == OfDigits {
			f.Counted = "values ending in 0 or 5"
		}
		out = append(out, f)
	}
	return out
}

const (
	gapsShown     = 3
	examplesShown = 3
)

// NewFeedback makes the sheet of one person, by the ledger's pseudonym. False
// when the person has no study in the period.
func NewFeedback(studies []counted.Study, opt Options, pseudonym string) (*Feedback, bool) {
	r := &builder{opt: opt, report: &Report{Options: opt}}
	for i := range studies {
		if s := &studies[i]; opt.Period.Look().Holds(s.Date) && (opt.Lab == "" || s.Lab == opt.Lab) {
			r.look = append(r.look, s)
			if opt.Period.Holds(s.Date) {
				r.now = append(r.now, s)
			}
		}
	}
	for _, one := range roles() {
		own := ownStudies(r.now, one, pseudonym)
		if len(own) == 0 {
			continue
		}
		f := &Feedback{Period: opt.Period, Edition: opt.Edition, Lab: cmp.Or(opt.Name, opt.Lab, r.labName()), Role: one.name, Studies: len(own)}
		if len(own) < opt.Floor {
			f.few(own, one, opt, len(ownStudies(r.look, one, pseudonym)))
			f.Gaps = r.gaps(own)
			return f, true
		}
		for _, id := range one.measures {
			m, _ := opt.Find(id)
			figure := OwnFigure{Measure: m, Own: m.over(own), Before: m.over(earlier(ownStudies(r.look, one, pseudonym), opt.Period)), Lacking: m.lacking(own)}
			figure.Band = r.band(one, m)
			f.Own = append(f.Own, figure)
		}
		f.Flagged = Build(studies, opt).flagsOf(pseudonym)
		if one.curve {
			f.Curve = r.ownCurve(ownStudies(r.look, one, pseudonym))
		}
		f.Gaps = r.gaps(own)
		f.Action = f.suggest()
		return f, true
	}
	return nil, false
}

// few says what can be said of too few studies: what is in them, not what follows.
func (f *Feedback) few(own []*counted.Study, one role, opt Options, looked int) {
	half := stats.Proportion{Count: len(own) / 2, Total: len(own)}.Wilson(0.95)
	f.TooFew = fmt.Sprintf("Too few to judge: at least %d are needed. Of %s a share may be off by %.0f percentage points by chance alone, so that "+
		"there is no share, no comparison with the lab and no advice here. What follows is counted, and says what to look at in single studies.",
		opt.Floor, map[bool]string{true: "one", false: fmt.Sprint(len(own))}[len(own) == 1], 50*(half.High-half.Low))
	if looked >= opt.Floor {
		f.TooFew += fmt.Sprintf(" In the months up to then there are %d studies: a longer period can be judged.", looked)
	}
	for _, id := range one.measures {
		m, _ := opt.Find(id)
		f.Own = append(f.Own, OwnFigure{Measure: m, Own: m.over(own), Lacking: m.lacking(own)})
	}
}

// lacking are the studies counted that do not meet the measure, the latest first.
func (m *Measure) lacking(studies []*counted.Study) []Example {
	var out []Example
	for _, s := range studies {
		if counted, met := m.Of(s); counted && !met {
			out = append(out, Example{s.UID, s.Date})
		}
	}
	slices.SortStableFunc(out, func(a, b Example) int { return b.Date.Compare(a.Date) })
	return out
}

func ownStudies(studies []*counted.Study, one role, pseudonym string) []*counted.Study {
	return slices.DeleteFunc(slices.Clone(studies), func(s *counted.Study) bool { return one.of(s) != pseudonym })
}

func earlier(studies []*counted.Study, p calendar.Period) []*counted.Study {
	return slices.DeleteFunc(slices.Clone(studies), func(s *counted.Study) bool { return !s.Date.Before(p.From) })
}

// band is shown only among enough people with enough studies each.
func (r *builder) band(one role, m Measure) *Band {
	r.labels = map[string]string{}
	var values []float64
	for _, p := range r.staff(one) {
		if x := m.over(p.studies); x.Total >= r.opt.Floor {
			values = append(values, x.Value())
		}
	}
	if len(values) < r.opt.People {
		return nil
	}
	return &Band{len(values), stats.Quantile(values, 0.1), stats.Quantile(values, 0.5), stats.Quantile(values, 0.9)}
}

// gaps are the rules that most often failed in the person's own studies.
func (r *builder) gaps(own []*counted.Study) []Gap {
	type found struct {
		rule  *tally.Rule
		times stats.Proportion
		where []*counted.Study
	}
	by := map[string]*found{}
	for _, s := range own {
		for res := range s.Results.All() {
			if res.Outcome == finding.Open || !res.Grave() {
				continue
			}
			if by[res.Rule.Identifier] == nil {
				by[res.Rule.Identifier] = &found{rule: res.Rule}
			}
			one := by[res.Rule.Identifier]
			one.times.Total++
			if s.Stands(res) == tally.Missing {
				one.times.Count++
				one.where = append(one.where, s)
			}
		}
	}
	names := slices.Sorted(maps.Keys(by))
	sort.SliceStable(names, func(i, j int) bool { return by[names[i]].times.Count > by[names[j]].times.Count })
	var out []Gap
	for _, name := range names {
		one := by[name]
		if one.times.Count == 0 || len(out) == gapsShown {
			break
		}
		sort.SliceStable(one.where, func(i, j int) bool { return one.where[i].Date.After(one.where[j].Date) })
		g := Gap{Title: one.rule.Title, Rule: name, Times: one.times}
		for _, s := range one.where[:min(examplesShown, len(one.where))] {
			g.Examples = append(g.Examples, Example{s.UID, s.Date})
		}
		out = append(out, g)
	}
	return out
}

// suggest names one thing: what is flagged, else the commonest gap, else the
// measure farthest below its target.
func (f *Feedback) suggest() string {
	if len(f.Flagged) > 0 {
		return fmt.Sprintf("%s: find out together why it differs from the others, and agree on one change to try until the next sheet", f.Flagged[0].Title)
	}
	if len(f.Gaps) > 0 {
		return fmt.Sprintf("%s: look at the studies named, and agree on when it is done", f.Gaps[0].Title)
	}
	for _, o := range f.Own {
		if o.Own.Total > 0 && o.Own.Value() < o.Measure.Target {
			return fmt.Sprintf("%s: agree on one change to try until the next sheet", o.Measure.Title)
		}
	}
	return "Keep it as it is."
}
