// Package people owns the pages about the people of the lab: everybody's own figures,
// and, for a quality manager, people side by side by codes and which account is whom.
//
// What is shown of people is what the audit counts and does not withhold; nobody sees
// the figures of another person.
package people

import (
	"context"
	"embed"
	"html/template"
	"maps"
	"slices"
	"strings"
	"time"

	"echotally/internal/account"
	"echotally/internal/audit"
	"echotally/internal/auditwriter"
	"echotally/internal/staff"
	"echotally/internal/table/words"
	"echotally/internal/web/frame"
	"echotally/internal/web/period"
)

//go:embed templates
var files embed.FS

// Templates are the pages' templates.
func Templates() frame.Templates { return frame.Templates{Files: files} }

// Pages are the pages of people.
type Pages struct {
	Period *period.Pages
}

// ownPage is somebody's own figures as the template gets them.
type ownPage struct {
	Linked  bool
	Manager bool
	Periods []period.Choices
	Words   string // the period
	Own     *auditwriter.Own
	Lines   []line
	Gaps    []gap
	Drawing template.HTML
	Columns []string
	Figures [][]string
}

type line struct {
	ID, Title, Own, Lab string
	Lacking             []example
	Rest                int // of them that are not listed
}

type gap struct {
	Title, Words, Rule string
	Examples           []example
}

// example is a study by what stands for it.
type example struct{ Path, Date string }

// mostListed is how many studies of a measure are listed, the latest.
const mostListed = 60

// Own shows who asks the own figures.
func (p *Pages) Own(c *frame.Call) error {
	person, err := staff.Of(c.R.Context(), c.Lab.Ledger, c.Lab.Key, c.Name())
	if err != nil {
		return err
	}
	v := &ownPage{Linked: person != "", Manager: c.Session.Has(account.QualityManager)}
	if v.Linked {
		if err := p.own(c, v, person); err != nil {
			return err
		}
	}
	return c.Page(frame.View{Title: "My figures", Name: "own", Data: v})
}

func (p *Pages) own(c *frame.Call, v *ownPage, person string) error {
	opt, studies, periods, err := p.Period.Chosen(c)
	if err != nil {
		return err
	}
	v.Periods, v.Words = periods, opt.Period.Words()
	made, err := c.Made("own "+c.Who()+" "+c.Lab.Key.Opaque(person)+" "+opt.Period.Name, func(context.Context) (any, error) {
		f, _ := audit.NewFeedback(studies, opt, person)
		return f, nil
	})
	if err != nil {
		return err
	}
	f := made.(*audit.Feedback)
	if f == nil {
		return nil
	}
	v.Own = auditwriter.OwnOf(f)
	for i, l := range v.Own.Lines {
		shown := l.Lacking[:min(len(l.Lacking), mostListed)]
		v.Lines = append(v.Lines, line{f.Own[i].Measure.Identifier, l.Title, l.Own, l.Lab, examples(c, shown), len(l.Lacking) - len(shown)})
	}
	for i, g := range f.Gaps {
		v.Gaps = append(v.Gaps, gap{g.Title, v.Own.GapWords[i], g.Rule, examples(c, g.Examples)})
	}
	if v.Own.Drawn != nil {
		v.Columns, v.Figures = v.Own.Drawn.Columns, v.Own.Drawn.Rows
		v.Drawing, err = period.Drawn(v.Own.Drawn)
	}
	return err
}

func examples(c *frame.Call, of []audit.Example) []example {
	var out []example
	for _, e := range of {
		day := "day not known"
		if !e.Date.IsZero() {
			day = e.Date.Format(time.DateOnly)
		}
		out = append(out, example{c.Lab.Study(e.UID), day})
	}
	return out
}

// peoplePage is people side by side, and who is who, as the template gets it.
type peoplePage struct {
	Words    string
	Counting bool
	Periods  []period.Choices
	Charts   []chart
	Caption  string // of the charts
	Tables   []words.Words
	Accounts []row
	Others   int // accounts of another system that are somebody
	Staff    []member
	Form     form
}

type chart struct {
	Title   string
	Drawing template.HTML
	Columns []string
	Rows    [][]string
}

type row struct {
	Name, Roles, Person string
	Closed              bool
}

type member struct{ Person, Role string }

// form is the form to say who is whom, as it was filled in.
type form struct{ Account, Person, Wrong, Hint, At string }

// People shows people side by side by codes, and who is who.
func (p *Pages) People(c *frame.Call) error { return p.people(c, form{}, 0) }

func (p *Pages) people(c *frame.Call, f form, status int) error {
	v := &peoplePage{Form: f, Caption: auditwriter.FunnelCaption}
	r, periods, err := p.Period.ChosenReport(c)
	if v.Counting = frame.BeingMade(err); err != nil && !v.Counting {
		return err
	}
	if r != nil {
		v.Periods, v.Words = periods, r.Options.Period.Words()
		for _, one := range auditwriter.Funnels(r) {
			drawing, err := period.Drawn(one.Figure)
			if err != nil {
				return err
			}
			v.Charts = append(v.Charts, chart{one.Figure.Title, drawing, one.Figure.Columns, one.Figure.Rows})
		}
		for _, t := range r.Tables {
			if slices.Contains([]string{"sonographers", "readers", "learning"}, t.Identifier) {
				v.Tables = append(v.Tables, words.WordsOf(t))
			}
		}
	}
	if err := v.who(c); err != nil {
		return err
	}
	return c.Page(frame.View{Title: "People", Name: "people", Data: v, Status: status})
}

// who fills in which account is whom.
func (v *peoplePage) who(c *frame.Call) error {
	ctx := c.R.Context()
	ties, err := staff.Read(ctx, c.Lab.Ledger)
	if err != nil {
		return err
	}
	listed, err := c.Lab.Ledger.Staff(ctx)
	if err != nil {
		return err
	}
	for _, person := range slices.Sorted(maps.Keys(listed)) {
		v.Staff = append(v.Staff, member{person, strings.ReplaceAll(listed[person], "-", " ")})
	}
	v.Others = len(ties)
	for _, a := range c.Site().Accounts.All() {
		one := row{Name: a.Name, Person: ties[staff.Mark(c.Lab.Key, a.Name)], Closed: a.Closed}
		var roles []string
		for _, r := range a.Roles {
			roles = append(roles, r.Words())
		}
		one.Roles = strings.Join(roles, ", ")
		if one.Person != "" {
			v.Others--
		}
		v.Accounts = append(v.Accounts, one)
	}
	return nil
}
