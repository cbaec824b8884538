// Package evidence owns the page of how far second readings agree.
package evidence

import (
	"context"
	"embed"
	"html/template"
	"strconv"

	"echotally/internal/audit"
	"echotally/internal/booklet"
	"echotally/internal/store"
	"echotally/internal/table/words"
	"echotally/internal/web/frame"
	"echotally/internal/web/period"
)

//go:embed templates
var files embed.FS

// Templates are the pages' templates.
func Templates() frame.Templates { return frame.Templates{Files: files} }

// Pages are the pages of what there is to show.
type Pages struct {
	// Agreement is how far second readings agree, of the draws with these numbers, of all
	// where none is named; nil where nothing was entered.
	Agreement func(ctx context.Context, ledger *store.Store, opt audit.Options, of []int) (*booklet.Booklet, error)
	Period    *period.Pages
}

type page struct {
	Title, Of string
	Back      string // the page it belongs to, "" for the menu
	Front     []booklet.Passage
	Tables    []words.Words
	Charts    []chart
	Caption   string
	Empty     string
}

type chart struct {
	Title   string
	Drawing template.HTML
	Columns []string
	Rows    [][]string
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
		v.Tables = append(v.Tables, words.WordsOf(t))
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
