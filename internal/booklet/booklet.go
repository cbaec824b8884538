package booklet

import (
	"cmp"
	"fmt"
	"html/template"
	"io"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/plot/vg"

	"echotally/internal/audit"
	"echotally/internal/booklet/pdfpage"
	"echotally/internal/layout"
	"echotally/internal/plot"
	"echotally/internal/stats"
	"echotally/internal/stats/reliability"
	"echotally/internal/stats/sequential"
	"echotally/internal/table"
	"echotally/internal/table/words"
)

// Booklet is a set of tables with what stands before them: a report on agreement,
// a pack for a meeting, evidence for an accreditation.
type Booklet struct {
	Name    string // of the files: agreement gives agreement.pdf
	Title   string
	Of      string        // what stands beside the title: a period, a draw
	Options audit.Options // lab, state of the data, rule set
	Paper   pdfpage.Paper // of the print; A4 when none is named
	Front   []Passage
	Tables  []table.Table
	Charts  []Chart
	Caption string        // explains the charts
	Forms   []table.Table // filled in by hand, in page and print alone: lines are higher, each has its page
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
	Test          reliability.Agreement
}

// PairsCaption explains the charts of pairs.
const PairsCaption = "Second less first reading against their mean; bias dashed, limits of agreement plain."

// Chart draws the pairs; the number tells charts of one page apart.
func (p Pairs) Chart(number int) Chart {
	a := plot.Agreement{Identifier: fmt.Sprintf("agreement-%d", number), Title: p.Title, Unit: p.Unit, First: p.First, Second: p.Second, Bias: p.Test.Bias, Lower: p.Test.Lower, Upper: p.Test.Upper}
	return Chart{Figure: a.Figure(WideWidth, WideHeight)}
}

// Curve is a learning curve of things done in order, to be drawn.
type Curve struct {
	Identifier, Title, Of string // Of: what is done, singular
	Met                   []bool
	Dates                 []time.Time // of the studies
	Test                  sequential.Learning
}

// Figure draws the curve.
func (c Curve) Figure(width, height vg.Length) *plot.Figure {
	l := plot.Learning{Identifier: c.Identifier, Title: c.Title, Of: c.Of, Accept: c.Test.Accept, Review: c.Test.Review}
	for i, met := range c.Met {
		l.Steps = append(l.Steps, plot.Step{Date: c.Dates[i], Met: met, Sum: c.Test.Sum[i]})
	}
	for _, d := range c.Test.Decisions {
		l.Steps[d.At].Decide, l.Steps[d.At].Passed = "look at it together", d.Acceptable
		if d.Acceptable {
			l.Steps[d.At].Decide = "acceptable"
		}
	}
	return l.Figure(width, height)
}

// Months draws shares by month, such as 2026-03, with what is asked for.
func Months(identifier, title string, least float64, months map[string]*stats.Proportion) Chart {
	c := plot.Control{Identifier: identifier, Title: title, Target: least}
	for _, name := range slices.Sorted(maps.Keys(months)) {
		at, err := time.Parse("2006-01", name)
		if err != nil {
			continue
		}
		p := months[name]
		c.Points = append(c.Points, plot.Point{Month: at, Value: p.Value(), YearBefore: math.NaN(), Centre: math.NaN(), Counted: fmt.Sprintf("%d/%d", p.Count, p.Total)})
	}
	return Chart{Figure: c.Figure(RunWidth, RunHeight)}
}

// Sizes of charts in points: two to a line of an A4 or Letter page.
const (
	WideWidth, WideHeight = 250, 116 // of comparisons
	RunWidth, RunHeight   = 250, 70  // of courses over time
)

// Set writes the booklet to a folder as one set that agrees with itself: page,
// print, workbook, JSON, and a CSV file per table with their dictionary. It
// returns the names of the files.
func Set(dir string, b *Booklet) ([]string, error) {
	return Files(dir, []File{
		{b.Name + ".html", b.html},
		{b.Name + ".pdf", func(w io.Writer) error { return PDF(w, b) }},
		{b.Name + ".xlsx", func(w io.Writer) error {
			h := b.heading()
			return Workbook(w, h, [][2]string{{"Document", h.Title}, {"Of", b.Of}, {"Lab", h.Lab}, {"Data to", h.Cutoff}}, b.Tables)
		}},
		{b.Name + ".json", b.json},
	}, b.Tables)
}

func (b *Booklet) heading() Heading {
	return HeadingOf(b.Title, cmp.Or(b.Options.Name, b.Options.Lab, "all labs"), b.Options)
}

// PDF writes the booklet for print alone.
func PDF(w io.Writer, b *Booklet) error {
	h := b.heading()
	d, err := NewDocument(b.Paper, h, b.Options.Created)
	if err != nil {
		return err
	}
	d.Title(h.Title, "", 16)
	d.Text(strings.Join([]string{b.Of, h.Lab, "data to " + h.Cutoff}, "; "), 9)
	for _, p := range b.Front {
		d.passage(p)
	}
	for _, t := range b.Tables {
		if !t.Unprinted {
			d.Table(t)
		}
	}
	for i, t := range b.Forms {
		if i > 0 || len(b.Tables) > 0 {
			d.Break(0)
		}
		d.Form(t)
	}
	if len(b.Charts) > 0 {
		d.room(80) // no heading without a chart below it
		d.Bookmark("Charts")
		d.Heading("Charts")
		d.Charts(b.Charts)
		d.Small(b.Caption)
	}
	return d.Output(w)
}

func (d *Document) passage(p Passage) {
	d.Heading(p.Title)
	for _, line := range p.Lines {
		if p.Plain {
			d.Text(line, 9)
		} else {
			d.Item("–", line)
		}
	}
	if len(p.Lines) == 0 {
		d.Nothing("Nothing.")
	}
}

func (b *Booklet) html(w io.Writer) error {
	p := struct {
		Heading
		Of, Caution, Caption string
		Front                []Passage
		Cards                []Card
		Tables               []words.Words
	}{Heading: b.heading(), Of: b.Of, Caution: layout.Caution, Caption: b.Caption, Front: b.Front}
	for _, c := range b.Charts {
		card, err := NewCard(c)
		if err != nil {
			return err
		}
		p.Cards = append(p.Cards, card)
	}
	for _, t := range slices.Concat(b.Tables, b.Forms) {
		p.Tables = append(p.Tables, words.WordsOf(t))
	}
	t, err := Page(templates, "booklet", b.Name, p.Foot(), template.FuncMap{})
	if err != nil {
		return err
	}
	return t.Execute(w, p)
}
