// Package period owns the pages about a period of the lab: its audit, the studies
// behind a figure of it, and the documents that say the same.
//
// What is shown is what the audit counts; nothing is counted here.
package period

import (
	"context"
	"embed"
	"fmt"
	"io"
	"net/url"
	"slices"
	"time"

	"echotally/internal/actionlog"
	"echotally/internal/audit"
	"echotally/internal/auditwriter"
	"echotally/internal/booklet/pdfpage"
	"echotally/internal/calendar"
	"echotally/internal/census"
	"echotally/internal/counted"
	"echotally/internal/store"
	"echotally/internal/table"
	"echotally/internal/table/record"
	"echotally/internal/web/frame"
)

//go:embed templates
var files embed.FS

// Templates are the pages' templates.
func Templates() frame.Templates { return frame.Templates{Files: files} }

// Pages are the pages of a period.
type Pages struct {
	// Choices are the lab's choices: what its settings file says.
	Choices audit.Options
	// Actions are the lab's corrective actions as they stand.
	Actions func(context.Context, *store.Store) ([]actionlog.Action, error)
}

// asked is what an address asks for.
type asked struct {
	period calendar.Period
	name   string // of the period, as it was asked for
	with   string // the period beside it, "" for none
	only   audit.Part
}

// values are the address's query again, with some of it changed.
func (a asked) values(change ...string) url.Values {
	v := url.Values{"period": {a.name}}
	for _, one := range [][2]string{{"with", a.with}, {"protocol", a.only.Protocol}, {"site", a.only.Site}, {"scanner", a.only.Station}, {"software", a.only.Software}} {
		if one[1] != "" {
			v.Set(one[0], one[1])
		}
	}
	for i := 0; i+1 < len(change); i += 2 {
		if v.Del(change[i]); change[i+1] != "" {
			v.Set(change[i], change[i+1])
		}
	}
	return v
}

// read reads the query of an address. Without a period it is the last month with a
// study.
func read(c *frame.Call) (asked, *calendar.Period, error) {
	q := c.R.URL.Query()
	held, err := Held(c)
	if err != nil {
		return asked{}, nil, err
	}
	a := asked{with: q.Get("with"), only: audit.Part{Protocol: q.Get("protocol"), Site: q.Get("site"), Station: q.Get("scanner"), Software: q.Get("software")}}
	switch {
	case q.Get("from") != "" || q.Get("to") != "": // they win over the list beside them
		a.name = q.Get("from") + " to " + q.Get("to")
	case q.Get("period") != "":
		a.name = q.Get("period")
	case held != nil:
		a.name = held.To.Format("2006-01")
	default:
		a.name = c.Now().UTC().Format("2006-01")
	}
	if a.period, err = calendar.ParsePeriod(a.name); err != nil {
		return a, held, frame.Bad("This is no period: "+err.Error()+".", "A month is written as 2026-10, a quarter as 2026-Q3, a year as 2026.")
	}
	if n := len(a.period.Months()); n > mostMonths {
		return a, held, frame.Bad(fmt.Sprintf("A period of %d months is too long to be shown.", n), "Ask for five years at most.")
	}
	return a, held, nil
}

// Held is from the first study of the ledger to the last, nil for none.
func Held(c *frame.Call) (*calendar.Period, error) {
	stats, err := c.Lab.Statistics(c.R.Context())
	if err != nil {
		return nil, err
	}
	if all, err := calendar.Between(stats.First, stats.Last); err == nil {
		return &all, nil
	}
	return nil, nil
}

// mostMonths bounds what one page counts.
const mostMonths = 60

// options are the lab's choices for what is asked for.
func (p *Pages) options(c *frame.Call, a asked) audit.Options {
	lib := c.Lab.Desk().Library
	opt := p.Choices
	opt.Period, opt.Only = a.period, a.only
	opt.Software, opt.RuleSet, opt.Edition = c.Site().Software, lib.Version, lib.Edition
	opt.Cutoff, opt.Created, opt.Scales, opt.Mark = c.Now(), c.Now(), counted.ScalesOf(lib), c.Lab.Key.Pseudonym
	return opt
}

// studies are those that the charts of a period need, kept while the ledger does not
// change.
func studies(c *frame.Call, of calendar.Period) ([]counted.Study, error) {
	lab, reach := c.Lab, of.Reach()
	reach.Name = ""
	key := "studies " + reach.From.Format(time.DateOnly) + " " + reach.To.Format(time.DateOnly)
	out, err := c.Made(key, func(ctx context.Context) (any, error) {
		list, _, err := census.Studies(ctx, lab.Ledger, reach, store.Filter{}, lab.Desk().Library, nil)
		return list, err
	})
	if err != nil {
		return nil, err
	}
	return out.([]counted.Study), nil
}

// report is the audit of what is asked for.
func (p *Pages) report(c *frame.Call, a asked) (*audit.Report, []counted.Study, error) {
	list, err := studies(c, a.period)
	if err != nil {
		return nil, nil, err
	}
	opt := p.options(c, a)
	if opt.Actions, err = p.Actions(c.R.Context(), c.Lab.Ledger); err != nil {
		return nil, nil, err
	}
	var beside []counted.Study
	other := opt
	if a.with != "" {
		if other.Period, err = calendar.ParsePeriod(a.with); err != nil {
			return nil, nil, frame.Bad("The period beside it is none: "+err.Error()+".", "A month is written as 2026-10, a quarter as 2026-Q3, a year as 2026.")
		}
		if beside, err = studies(c, other.Period); err != nil {
			return nil, nil, err
		}
	}
	made, err := c.Made("report "+a.values().Encode(), func(context.Context) (any, error) {
		r := audit.Build(list, opt)
		if a.with != "" {
			r.Against(audit.Build(beside, other))
		}
		return r, nil
	})
	if err != nil {
		return nil, nil, err
	}
	return made.(*audit.Report), list, nil
}

// Export sends the audit as a document.
func (p *Pages) Export(c *frame.Call) error {
	a, _, err := read(c)
	if err != nil {
		return err
	}
	r, _, err := p.report(c, a)
	if err != nil {
		return err
	}
	if id := c.R.URL.Query().Get("table"); id != "" {
		i := slices.IndexFunc(r.Tables, func(t table.Table) bool { return t.Identifier == id })
		if i < 0 {
			return frame.ErrNotFound
		}
		return c.Send("text/csv; charset=utf-8", id+".csv", func(w io.Writer) error { return record.CSV(w, r.Tables[i]) })
	}
	kinds := map[string]string{"pdf": "application/pdf", "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", "json": "application/json"}
	kind := c.R.PathValue("kind")
	if kinds[kind] == "" {
		return frame.ErrNotFound
	}
	return c.Send(kinds[kind], "audit."+kind, func(w io.Writer) error { return auditwriter.Audit(w, kind, r, pdfpage.A4) })
}
