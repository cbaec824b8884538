package audit

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"echotally/internal/actionlog"
	"echotally/internal/counted"
	"echotally/internal/stats"
	"echotally/internal/table"
)

// Effectiveness is what a measure did before and after an action.
type Effectiveness struct {
	Action        actionlog.Action
	Title         string // of the measure
	Before, After stats.Proportion
	Difference    float64
	Interval      stats.Interval
	Verdict       string
	Seen          bool
}

// effects compares, for every action, the months shown before its start with
// those since.
func (r *builder) effects() {
	actions := slices.Clone(r.opt.Actions)
	sort.Slice(actions, func(i, j int) bool { return actions[i].Number < actions[j].Number })
	for _, a := range actions {
		e := Effectiveness{Action: a, Title: a.Measure, Difference: math.NaN(), Interval: stats.Interval{Low: math.NaN(), High: math.NaN()}}
		m, known := r.opt.Find(a.Measure)
		if !known {
			e.Verdict = "cannot tell: the measure is not known"
			r.report.Effects = append(r.report.Effects, e)
			continue
		}
		e.Title = r.titleOf(m)
		var before, after []*counted.Study
		for _, s := range r.look {
			if s.Date.Before(a.Started) {
				before = append(before, s)
			} else {
				after = append(after, s)
			}
		}
		e.Before, e.After = m.over(before), m.over(after)
		e.judge(r.opt.Floor, stats.Simultaneous(table.Confidence, len(actions)))
		r.report.Effects = append(r.report.Effects, e)
	}
}

// titleOf is the title of the rule a measure stands for.
func (r *builder) titleOf(m Measure) string {
	for _, s := range r.look {
		for res := range s.Results.All() {
			if rulePrefix+res.Rule.Identifier == m.Identifier {
				return res.Rule.Title
			}
		}
	}
	return m.Title
}

func (e *Effectiveness) judge(floor int, confidence float64) {
	if min(e.Before.Total, e.After.Total) < floor {
		e.Verdict = fmt.Sprintf("too early to tell: fewer than %d studies before or since", floor)
		return
	}
	e.Difference, e.Interval = stats.Difference(e.After, e.Before, confidence)
	between := fmt.Sprintf("%+.1f points (interval %+.1f to %+.1f)", 100*e.Difference, 100*e.Interval.Low, 100*e.Interval.High)
	switch {
	case e.Interval.Low > 0:
		e.Seen, e.Verdict = true, "effect seen: "+between
	case e.Interval.High < 0:
		e.Seen, e.Verdict = true, "it became worse: "+between
	default:
		e.Verdict = "no effect seen: " + between
	}
}

func (r *builder) actionTable() table.Table {
	t := table.Table{
		Identifier: "actions", Title: "Corrective actions", Note: "The months shown before the start against those since, the difference with its Newcombe interval, all actions together 95 % (Bonferroni). Something else may have changed at the same time.",
		Columns: []table.Column{
			table.NewColumn("number", "No.", table.Count, "number in the log"), table.NewColumn("title", "Action", table.Words, "what is done"), table.NewColumn("cause", "Cause", table.Words, "what it answers"),
			table.NewColumn("owner", "Owner", table.Words, "role"), table.NewColumn("state", "State", table.Words, "open, overdue or closed at the data cut-off"),
			table.NewColumn("started", "Started", table.Words, "date"), table.NewColumn("due", "Due", table.Words, "date"), table.MachineColumn("measure", "Identifier", table.Words, "identifier of the measure it should move"), table.NewColumn("moves", "Measure", table.Words, "the measure it should move, in words"),
			table.NewColumn("before", "Before", table.Share, "measure before the start"), table.NewColumn("after", "Since", table.Share, "measure since"), table.NewColumn("verdict", "Effect", table.Words, "whether a change is seen"),
		},
	}
	for _, e := range r.report.Effects {
		a := e.Action
		t.Add(table.CountCell(a.Number), table.TextCell(a.Title), table.TextCell(a.Cause), table.TextCell(a.OwnerShown()), table.TextCell(a.State(r.opt.Cutoff)), table.DateCell(a.Started), table.DateCell(a.Due),
			table.TextCell(a.Measure), table.TextCell(e.Title), table.ShareCell(e.Before), table.ShareCell(e.After), table.TextCell(e.Verdict))
	}
	return t
}

// Proposal is something worth doing, with its size.
type Proposal struct {
	Text    string
	Measure string
	Studies float64 // of the period that would have been met
}

// proposals is how many are proposed: a meeting that takes on more finishes
// none (site choice).
const proposals = 3

// propose lists what would have helped most studies of the period.
func (r *builder) propose() {
	var all []Proposal
	for _, d := range r.asked {
		if d.rule.Severity.Rank() < 2 || d.Missing == 0 {
			continue
		}
		all = append(all, Proposal{
			Text:    fmt.Sprintf("%s: missing without a reason in %d of %d studies it applied to", d.rule.Title, d.Missing, d.Strict().Total),
			Measure: rulePrefix + d.rule.Identifier, Studies: float64(d.Missing),
		})
	}
	for _, s := range r.report.Signals {
		if s.Lost < 1 {
			continue
		}
		p := Proposal{Text: s.Text, Measure: s.Measure, Studies: s.Lost}
		if s.Kind == OfPerson {
			// Page one goes to the meeting: the person is spoken to, not shown.
			p.Text = fmt.Sprintf("%s: one member of staff lies below the others; see the feedback sheet", r.measureTitle(s.Measure))
		}
		all = append(all, p)
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].Studies > all[j].Studies })
	r.report.Proposals = all[:min(proposals, len(all))]
}

func (r *builder) measureTitle(id string) string {
	m, _ := r.opt.Find(id)
	return m.Title
}
