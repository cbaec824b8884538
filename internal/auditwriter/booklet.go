package auditwriter

import (
	"fmt"
	"html/template"
	"io"
	"strings"
	"time"

	"echotally/internal/audit"
	"echotally/internal/layout"
	"echotally/internal/plot"
	"echotally/internal/stats"
)

// Booklet is a set of tables with what stands before them: a report on agreement,
// a pack for a meeting, evidence for an accreditation.
type Booklet struct {
	Name    string // of the files: agreement gives agreement.pdf
	Title   string
	Of      string        // what stands beside the title: a period, a draw
	Options audit.Options // lab, state of the data, rule set
	Front   []Passage
	Tables  []audit.Table
	Pairs   []Pairs
	Blank   bool // the tables are filled in by hand: lines are higher, each has its page
}

// Passage is a heading with lines below it.
type Passage struct {
	Title string
	Lines []string
	Plain bool // lines without a mark before them
}

// Pairs are two readings of one quantity, to be drawn.
type Pairs struct {
	Title, Unit   string
	First, Second []float64
	Test          stats.Agreement
}

// BookletSet writes the booklet to a folder as one set that agrees with itself:
// page, print, workbook, JSON, and a CSV file per table with their dictionary. It
// returns the names of the files.
func BookletSet(dir string, b *Booklet) ([]string, error) {
	charts := b.charts()
	return set(dir, []part{
		{b.Name + ".html", func(w io.Writer) error { return b.html(w, charts) }},
		{b.Name + ".pdf", func(w io.Writer) error { return b.pdf(w, charts) }},
		{b.Name + ".xlsx", func(w io.Writer) error {
			h := b.heading()
			return workbook(w, h, [][2]string{{"Document", h.Title}, {"Of", b.Of}, {"Lab", h.Lab}, {"Data to", h.Cutoff}}, b.Tables)
		}},
		{b.Name + ".json", b.json},
	}, b.Tables)
}

// BookletPDF writes the booklet for print alone.
func BookletPDF(w io.Writer, b *Booklet) error { return b.pdf(w, b.charts()) }

// TableCSV writes one table as CSV.
func TableCSV(w io.Writer, t audit.Table) error { return tableCSV(w, t) }

func (b *Booklet) heading() auditHeading {
	o := b.Options
	return auditHeading{
		Title: b.Title, Lab: layout.OrElse(o.Lab, "all labs"), Cutoff: o.Cutoff.UTC().Format("2006-01-02 15:04 MST"),
		Created: o.Created.UTC().Format(time.RFC3339), Software: o.Software, RuleSet: o.RuleSet, Edition: o.Edition,
	}
}

func (b *Booklet) charts() []auditChart {
	var out []auditChart
	for i, p := range b.Pairs {
		a := plot.Agreement{Identifier: fmt.Sprintf("agreement-%d", i+1), Title: p.Title, Unit: p.Unit, First: p.First, Second: p.Second, Bias: p.Test.Bias, Lower: p.Test.Lower, Upper: p.Test.Upper}
		out = append(out, auditChart{nil, a.Figure(funnelWidth, funnelHeight)})
	}
	return out
}

const pairsNote = "Second less first reading against their mean; bias dashed, limits of agreement plain."

func (b *Booklet) pdf(w io.Writer, charts []auditChart) error {
	h := b.heading()
	d, err := newPDF(h, b.Options.Created)
	if err != nil {
		return err
	}
	d.blank = b.Blank
	d.pdf.AddPage()
	d.pdf.Bookmark(b.Title, 0, 0)
	d.titleLine(h, b.Of)
	for _, p := range b.Front {
		d.heading(p.Title)
		for _, line := range p.Lines {
			if p.Plain {
				d.room(8)
				d.text(line, "", 9)
			} else {
				d.item("–", line)
			}
		}
		if len(p.Lines) == 0 {
			d.text("Nothing.", "I", 9)
		}
	}
	for i, t := range b.Tables {
		if t.Unprinted {
			continue
		}
		if b.Blank && i > 0 {
			d.pdf.AddPage()
		}
		d.table(t)
	}
	if len(charts) > 0 {
		d.pdf.AddPage()
		d.pdf.Bookmark("Charts", 0, -1)
		d.heading("Charts")
		d.charts(charts)
		d.small(pairsNote)
	}
	return d.pdf.Output(w)
}

// titleLine is the head of the first page.
func (d *pdfDocument) titleLine(h auditHeading, of string) {
	pdf := d.pdf
	pdf.SetLineWidth(0.5)
	pdf.Line(pageMargin, pdf.GetY(), pageMargin+contentWidth, pdf.GetY())
	pdf.Ln(1.5)
	pdf.SetFont(pdfFont, "B", 16)
	pdf.MultiCell(contentWidth, 7, h.Title, "", "L", false)
	d.text(strings.Join([]string{of, h.Lab, "data to " + h.Cutoff}, "; "), "", 9)
}

// bookletPage is the booklet as the template gets it.
type bookletPage struct {
	auditHeading
	Of, Caution, PairsNote string
	Front                  []Passage
	Cards                  []auditCard
	Tables                 []auditTable
}

func (b *Booklet) html(w io.Writer, charts []auditChart) error {
	p := &bookletPage{auditHeading: b.heading(), Of: b.Of, Caution: layout.Caution, PairsNote: pairsNote, Front: b.Front}
	for _, c := range charts {
		card, err := newAuditCard(c)
		if err != nil {
			return err
		}
		p.Cards = append(p.Cards, card)
	}
	for _, t := range b.Tables {
		p.Tables = append(p.Tables, wordsOf(t))
	}
	own, err := templates.ReadFile("templates/audit.css")
	if err != nil {
		return err
	}
	foot := layout.Foot(p.Software + "; rule set " + p.RuleSet + ", guideline edition " + p.Edition + "; " + p.Created + "; data to " + p.Cutoff)
	t, err := template.New("booklet.html.tmpl").Funcs(template.FuncMap{
		"style":     func() template.CSS { return layout.Style() + template.CSS(own) + foot },
		"generator": func() template.HTML { return layout.Generator(b.Name) },
		"number":    func(k audit.Kind) bool { return k != audit.Words },
	}).ParseFS(templates, "templates/booklet.html.tmpl", "templates/card.html.tmpl", "templates/table.html.tmpl")
	if err != nil {
		return err
	}
	return t.Execute(w, p)
}

// bookletRecord is a booklet as machines get it. Schema file:
// schema/booklet.schema.json.
type bookletRecord struct {
	SchemaVersion   string          `json:"schemaVersion"`
	Caution         string          `json:"caution"`
	Document        string          `json:"document"`
	Title           string          `json:"title"`
	Of              string          `json:"of"`
	Lab             string          `json:"lab"`
	Cutoff          string          `json:"cutoff"`
	Created         string          `json:"created"`
	SoftwareVersion string          `json:"softwareVersion"`
	RuleSet         string          `json:"ruleSet"`
	Edition         string          `json:"edition"`
	Front           []passageRecord `json:"front"`
	Tables          []tableRecord   `json:"tables"`
}

type passageRecord struct {
	Title string   `json:"title"`
	Lines []string `json:"lines"`
}

func (b *Booklet) json(w io.Writer) error {
	h := b.heading()
	out := bookletRecord{
		SchemaVersion: SchemaVersion, Caution: layout.Caution, Document: b.Name, Title: b.Title, Of: b.Of, Lab: b.Options.Lab, Cutoff: h.Cutoff,
		Created: h.Created, SoftwareVersion: h.Software, RuleSet: h.RuleSet, Edition: h.Edition, Front: []passageRecord{}, Tables: []tableRecord{},
	}
	for _, p := range b.Front {
		out.Front = append(out.Front, passageRecord{p.Title, append([]string{}, p.Lines...)})
	}
	for _, t := range b.Tables {
		out.Tables = append(out.Tables, tableRecordOf(t))
	}
	return layout.Encode(w, true, out)
}
