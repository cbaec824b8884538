package auditwriter

import (
	"fmt"
	"html/template"
	"io"
	"strings"

	"echotally/internal/audit"
	"echotally/internal/layout"
	"echotally/internal/plot"
)

// auditPage is the lab audit as the template gets it.
type auditPage struct {
	auditHeading
	Caution   string
	Notable   []string
	Expected  string
	Proposals []audit.Proposal
	Cards     []auditCard
	Followed  []auditCard
	Charts    []auditCard
	Tables    []auditTable
	WhatIf    []string
	Notes     string
	Marks     string
	Signed    [3][2]string
}

// auditCard is a chart with its figures.
type auditCard struct {
	Title, Share, Small, Meaning string
	Figure                       *plot.Figure
	SVG                          template.HTML
}

// auditTable is a table in words.
type auditTable struct {
	Identifier, Title, Note string
	Columns                 []audit.Column
	Rows                    [][]string
	Plain                   [][]string // rows in which nothing is remarkable
	PlainMeans              string
	Unprinted               int // rows that only the other formats have
}

func auditHTML(w io.Writer, r *audit.Report, charts []auditChart) error {
	p := &auditPage{
		auditHeading: headingOf(r), Caution: layout.Caution, Notable: firstLines(r.Notable()), Expected: r.Chance.Expected(), Proposals: r.Proposals,
		Notes: r.Notes.Words(), Marks: chartCaption(r),
	}
	p.Signed = p.signatures(r.Options.Prepared)
	if r.Other != nil {
		p.WhatIf = r.Other.Lines()
	}
	for _, c := range charts {
		card, err := newAuditCard(c)
		if err != nil {
			return err
		}
		switch {
		case c.Headline == nil:
			p.Charts = append(p.Charts, card)
		case c.followed():
			p.Followed = append(p.Followed, card)
		default:
			p.Cards = append(p.Cards, card)
		}
	}
	for _, t := range r.Tables {
		p.Tables = append(p.Tables, wordsOf(t))
	}
	own, err := templates.ReadFile("templates/audit.css")
	if err != nil {
		return err
	}
	foot := layout.Foot(p.foot())
	t, err := template.New("audit.html.tmpl").Funcs(template.FuncMap{
		"style":       func() template.CSS { return layout.Style() + template.CSS(own) + foot },
		"generator":   func() template.HTML { return layout.Generator("audit") },
		"number":      func(k audit.Kind) bool { return k != audit.Words },
		"about":       about,
		"comparisons": func() string { return comparisonCaption },
	}).ParseFS(templates, "templates/audit.html.tmpl", "templates/card.html.tmpl", "templates/table.html.tmpl")
	if err != nil {
		return err
	}
	return t.Execute(w, p)
}

func newAuditCard(c auditChart) (auditCard, error) {
	svg, err := c.Figure.SVG()
	if err != nil {
		return auditCard{}, err
	}
	// The drawing is made by our own canvas, its words are escaped there.
	card := auditCard{Title: c.Figure.Title, Figure: c.Figure, SVG: template.HTML(svg)}
	if h := c.Headline; h != nil {
		card.Share, card.Small, card.Meaning = audit.Percent(h.Now), strings.Join(cardWords(h), "; "), h.Measure.Meaning
	}
	return card, nil
}

func wordsOf(t audit.Table) auditTable {
	t = printed(t)
	if t.Unprinted {
		return auditTable{Identifier: t.Identifier, Title: t.Title, Note: t.Note, Unprinted: len(t.Rows)}
	}
	shown, plain := t.Split()
	return auditTable{t.Identifier, t.Title, t.Note, t.Columns, rowsOf(shown), rowsOf(plain), t.PlainMeans, 0}
}

// Rest says how many rows are left out, "" for none.
func (t auditTable) Rest() string {
	if t.Unprinted > 0 {
		return fmt.Sprintf("%d rows: in the workbook and in %s.csv.", t.Unprinted, t.Identifier)
	}
	switch n := len(t.Plain); n {
	case 0:
		return ""
	case 1:
		return fmt.Sprintf("1 further row, %s: in the workbook and in %s.csv.", t.PlainMeans, t.Identifier)
	default:
		return fmt.Sprintf("%d further rows, %s: in the workbook and in %s.csv.", n, t.PlainMeans, t.Identifier)
	}
}

// OfPlain is the table of the rows left out.
func (t auditTable) OfPlain() auditTable {
	t.Rows, t.Plain = t.Plain, nil
	return t
}

// Count is the number of all rows.
func (t auditTable) Count() int { return len(t.Rows) + len(t.Plain) + t.Unprinted }

func rowsOf(t audit.Table) [][]string {
	var out [][]string
	for _, row := range t.Rows {
		var cells []string
		for i, c := range row {
			text := cellText(t.Columns[i].Kind, c)
			if t.Columns[i].Kind == audit.Share && c.Withheld == "" {
				// Share and interval stay whole where a cell breaks.
				text = whole(text)
				if between := intervalText(c.Share); between != "" {
					text += ", " + whole(between)
				}
			}
			cells = append(cells, text)
		}
		out = append(out, cells)
	}
	return out
}

// whole is a text that does not break.
func whole(text string) string { return strings.ReplaceAll(text, " ", "\u00A0") }
