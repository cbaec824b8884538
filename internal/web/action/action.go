// Package action owns the pages of the lab's corrective actions: what is done about a
// measure, and whether an effect is seen.
package action

import (
	"context"
	"embed"
	"fmt"
	"html/template"
	"slices"
	"strconv"
	"strings"
	"time"

	"echotally/internal/account"
	"echotally/internal/actionlog"
	"echotally/internal/audit"
	"echotally/internal/auditwriter"
	"echotally/internal/stats"
	"echotally/internal/store"
	"echotally/internal/table"
	"echotally/internal/table/words"
	"echotally/internal/trail"
	"echotally/internal/web/frame"
	"echotally/internal/web/period"
)

//go:embed templates
var files embed.FS

// Templates are the pages' templates.
func Templates() frame.Templates { return frame.Templates{Files: files} }

// Pages are the pages of actions.
type Pages struct {
	// Add adds an entry to the log in the ledger, or says why it cannot stand.
	Add    func(context.Context, *store.Store, actionlog.Entry) (actionlog.Entry, error)
	Period *period.Pages
}

// one is an action as the template gets it.
type one struct {
	actionlog.Action
	State, Began, Until, Ended string
	Before, After, Effect      string
	Of                         string        // the measure in words
	Drawing                    template.HTML // of the measure over the months
	Path                       string        // of the chart among the others, for who may see them
}

type page struct {
	Actions  []one
	Counting bool
	Measures []option
	Groups   []group // the same, by what they are about
	Chosen   string  // measure that the address names, for the form
	Owners   []string
	Today    string
	Manager  bool
	Months   string
	Caption  string // of the drawings
}

type option struct{ Value, Text string }

type group struct {
	Label   string
	Options []option
}

// grouped are measures of the lab, then rules by their structure.
func grouped(all []option) []group {
	var out []group
	for _, o := range all {
		label := "measures of the lab"
		if name, is := audit.RuleOf(o.Value); is {
			label, _, _ = strings.Cut(name, "/")
		}
		if n := len(out); n == 0 || out[n-1].Label != label {
			out = append(out, group{Label: label})
		}
		last := &out[len(out)-1]
		last.Options = append(last.Options, o)
	}
	return out
}

// List shows the actions as they stand, and the form to add one.
func (p *Pages) List(c *frame.Call) error {
	actions, err := p.Period.Actions(c.R.Context(), c.Lab.Ledger)
	if err != nil {
		return err
	}
	v := &page{Today: c.Now().UTC().Format(time.DateOnly), Manager: c.Session.Has(account.QualityManager)}
	report, err := p.Period.LatelyReport(c)
	if v.Counting = frame.BeingMade(err); err != nil && !v.Counting {
		return err
	}
	effects, drawings := map[int]audit.Effectiveness{}, map[string]template.HTML{}
	if report != nil {
		v.Months = report.Options.Period.Words()
		for _, e := range report.Effects {
			effects[e.Action.Number] = e
		}
		if drawings, err = drawn(report, actions); err != nil {
			return err
		}
		if len(drawings) > 0 {
			v.Caption = auditwriter.Caption(report)
		}
		for _, h := range report.Headlines {
			v.Measures = append(v.Measures, option{h.Measure.Identifier, h.Measure.Title})
		}
	}
	for _, r := range c.Lab.Desk().Library.Rules {
		v.Measures = append(v.Measures, option{"rule:" + r.File.Identifier, r.File.Title})
	}
	for _, a := range actions {
		o := one{Action: a, State: a.State(c.Now()), Began: day(a.Started), Until: day(a.Due), Ended: day(a.Closed), Of: titleOf(v.Measures, a.Measure)}
		if e, known := effects[a.Number]; known {
			o.Before, o.After, o.Effect = shareText(e.Before), shareText(e.After), e.Verdict
			o.Drawing = drawings[a.Measure]
		}
		if v.Manager && o.Drawing != "" {
			o.Path = "/lab#chart-" + strings.NewReplacer(":", "-", "/", "-").Replace(a.Measure)
		}
		v.Actions = append(v.Actions, o)
	}
	slices.Reverse(v.Actions)
	v.Groups, v.Chosen = grouped(v.Measures), c.R.URL.Query().Get("measure")
	v.Owners = []string{"lead-sonographer", "medical-director", "quality-manager", "technical-director"}
	return c.Page(frame.View{Title: "Actions", Name: "actions", Data: v})
}

// drawn are the charts of the measures that actions should move.
func drawn(r *audit.Report, actions []actionlog.Action) (map[string]template.HTML, error) {
	out := map[string]template.HTML{}
	for _, h := range slices.Concat(r.Headlines, r.Followed) {
		id := h.Measure.Identifier
		if !slices.ContainsFunc(actions, func(a actionlog.Action) bool { return a.Measure == id }) {
			continue
		}
		drawing, err := period.Drawn(auditwriter.Course(&h).Figure)
		if err != nil {
			return nil, err
		}
		out[id] = drawing
	}
	return out, nil
}

// shareText is a share with its interval, which there is none of where nothing was counted.
func shareText(p stats.Proportion) string {
	if between := words.IntervalText(p); between != "" {
		return table.Percent(p) + ", " + between
	}
	return table.Percent(p)
}

func titleOf(all []option, measure string) string {
	for _, o := range all {
		if o.Value == measure {
			return o.Text
		}
	}
	return measure
}

func day(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format(time.DateOnly)
}

// Begin adds an action.
func (p *Pages) Begin(c *frame.Call) error {
	e, err := entry(c)
	if err != nil {
		return err
	}
	e.Event = actionlog.Added
	if slices.Contains([]string{e.Title, e.Cause, e.Owner, e.Measure, e.Due, e.Started}, "") {
		return frame.Bad("An action needs a title, a cause, an owner, a measure, and two dates.", "Go back and fill in what is empty.")
	}
	opt := audit.Defaults()
	_, known := opt.Find(e.Measure)
	if name, is := audit.RuleOf(e.Measure); is {
		known = false
		for _, r := range c.Lab.Desk().Library.Rules {
			known = known || r.File.Identifier == name
		}
	}
	if !known {
		return frame.Bad("There is no such measure.", "Choose one of the list.")
	}
	return p.add(c, e)
}

// Change says more of an action, or closes it.
func (p *Pages) Change(c *frame.Call) error {
	e, err := entry(c)
	if err != nil {
		return err
	}
	if e.Number, err = strconv.Atoi(c.R.PathValue("number")); err != nil {
		return frame.ErrNotFound
	}
	e.Event, e.Measure, e.Started = actionlog.Updated, "", ""
	if e.Result != "" {
		e.Event = actionlog.Ended
	} else if e.Due == "" {
		return frame.Bad("Nothing was said.", "Give another day, or what came of the action.")
	}
	return p.add(c, e)
}

// entry reads the form.
func entry(c *frame.Call) (actionlog.Entry, error) {
	if err := c.R.ParseForm(); err != nil {
		return actionlog.Entry{}, err
	}
	of := func(name string) string { return strings.TrimSpace(c.R.PostForm.Get(name)) }
	e := actionlog.Entry{At: c.Now().UTC(), Title: of("title"), Cause: of("cause"), Owner: of("owner"), Measure: of("measure"), Started: of("started"), Due: of("due"), Result: of("result")}
	for _, text := range []string{e.Title, e.Cause, e.Owner, e.Measure, e.Result} {
		if len(text) > 300 {
			return e, frame.Bad("That is too long.", "A line of 300 letters says enough.")
		}
	}
	return e, nil
}

func (p *Pages) add(c *frame.Call, e actionlog.Entry) error {
	e, err := p.Add(c.R.Context(), c.Lab.Ledger, e)
	if err != nil {
		return frame.Bad("The action cannot stand: "+err.Error()+".", "Go back and mend it; nothing was recorded.")
	}
	c.Did(trail.Update, fmt.Sprintf("action %d: %s", e.Number, e.Event))
	return c.Go("/actions")
}
