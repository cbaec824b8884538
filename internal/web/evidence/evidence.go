// Package evidence owns the pages of what the lab has to show: the status of each
// requirement of an accreditation, and how far second readings agree.
package evidence

import (
	"context"
	"embed"
	"html/template"
	"strconv"

	"echotally/internal/audit"
	"echotally/internal/booklet"
	"echotally/internal/store"
	"echotally/internal/web/frame"
	"echotally/internal/web/period"
)

//go:embed templates
var files embed.FS

// Templates are the pages' templates.
func Templates() frame.Templates { return frame.Templates{Files: files} }

// Set is a set of requirements to choose.
type Set struct{ Name, Title, Source string }

// Pages are the pages of what there is to show.
type Pages struct {
	Sets func() ([]Set, error)
	// Build gives what the lab has to show for a set in a period, which has a study.
	Build func(ctx context.Context, ledger *store.Store, set string, opt audit.Options) (*booklet.Booklet, error)
	// Agreement is how far second readings agree, of the draws with these numbers, of all
	// where none is named; nil where nothing was entered.
	Agreement func(ctx context.Context, ledger *store.Store, opt audit.Options, of []int) (*booklet.Booklet, error)
	Period    *period.Pages
}

type page struct {
	Title, Of string
	Back      string // the page it belongs to, "" for the menu
	Sets      []choice
	Front     []booklet.Passage
	Tables    []booklet.Words
	Charts    []chart
	Caption   string
	Empty     string
}

type choice struct {
	Set
	Here bool
}

type chart struct {
	Title   string
	Drawing template.HTML
	Columns []string
	Rows    [][]string
}

// Binder shows the status of each requirement of a set over the last twelve months.
func (p *Pages) Binder(c *frame.Call) error {
	opt, studies, err := p.Period.Lately(c)
	if err != nil {
		return err
	}
	sets, err := p.Sets()
	if err != nil {
		return err
	}
	v := &page{Title: "Binder", Of: opt.Period.Words(), Empty: "Choose a set of requirements."}
	name := c.R.URL.Query().Get("set")
	for _, s := range sets {
		v.Sets = append(v.Sets, choice{s, s.Name == name})
		if s.Name == name {
			v.Of = s.Title + "; " + v.Of
		}
	}
	if name != "" && len(studies) == 0 {
		v.Empty = "The ledger holds no study: nothing can be shown."
	} else if name != "" {
		lab := c.Lab
		made, err := c.Made("binder "+name+" "+opt.Period.Name, func(ctx context.Context) (any, error) { return p.Build(ctx, lab.Ledger, name, opt) })
		if err != nil {
			return err
		}
		if err := v.fill(made.(*booklet.Booklet)); err != nil {
			return err
		}
	}
	return c.Page(frame.View{Title: "Binder", Name: "binder", Data: v})
}

// Readings shows how far second readings agree, of the draws that the address names.
func (p *Pages) Readings(c *frame.Call) error {
	opt, _, err := p.Period.Lately(c)
	if err != nil {
		return err
	}
	v := &page{Title: "Agreement of readings", Of: "all draws", Back: "/readings", Empty: "Nothing was entered yet."}
	var of []int
	for _, text := range c.R.URL.Query()["draw"] {
		number, err := strconv.Atoi(text)
		if err != nil {
			return frame.ErrNotFound
		}
		of = append(of, number)
	}
	b, err := p.Agreement(c.R.Context(), c.Lab.Ledger, opt, of)
	if err != nil {
		return err
	}
	if b != nil {
		v.Of = b.Of
	}
	if err := v.fill(b); err != nil {
		return err
	}
	return c.Page(frame.View{Title: "Agreement of readings", Name: "binder", Data: v})
}

func (v *page) fill(b *booklet.Booklet) error {
	if b == nil {
		return nil
	}
	v.Front, v.Caption, v.Empty = b.Front, b.Caption, ""
	for _, t := range b.Tables {
		v.Tables = append(v.Tables, booklet.WordsOf(t))
	}
	for _, one := range b.Charts {
		drawing, err := period.Drawn(one.Figure)
		if err != nil {
			return err
		}
		v.Charts = append(v.Charts, chart{one.Figure.Title, drawing, one.Figure.Columns, one.Figure.Rows})
	}
	return nil
}
