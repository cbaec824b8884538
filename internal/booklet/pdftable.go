package booklet

import (
	"math"

	"echotally/internal/booklet/pdfpage"
	"echotally/internal/table"
	"echotally/internal/table/words"
)

const (
	tableSize  = 7.0 // points
	tableLine  = 3.0 // mm
	cellMargin = 0.8 // mm
)

// Form writes a table that is filled in by hand: its lines are higher.
func (d *Document) Form(t table.Table) {
	d.blank = true
	d.Table(t)
	d.blank = false
}

// Table writes a table with its head on every page.
func (d *Document) Table(t table.Table) {
	d.room(34) // no head without rows below it
	d.Heading(t.Title)
	d.Bookmark(t.Title)
	d.Small(t.Note)
	if len(t.Rows) == 0 {
		d.Nothing("Nothing to show.")
		return
	}
	read := words.WordsOf(t)
	t = words.Printed(t)
	if len(read.Rows) > 0 {
		widths := d.widths(read)
		d.head(t, widths)
		d.pdf.SetFont(pdfpage.Font, "", tableSize)
		heights := make([]float64, len(read.Rows))
		for i, row := range read.Rows {
			heights[i] = d.rowHeight(row, widths)
		}
		for i, row := range read.Rows {
			if d.room(together(heights, i)) {
				d.head(t, widths)
			}
			d.row(t, row, widths, heights[i], "")
		}
	}
	if rest := read.Rest(); rest != "" {
		d.room(2 * tableLine)
		d.Small(rest)
	}
}

// fewRows are not left alone on the next page: the last of a table go there together.
const fewRows = 3

// together is the height that must be left for a row: for the first of the last few,
// that of all of them.
func together(heights []float64, i int) float64 {
	sum := heights[i]
	if i == len(heights)-fewRows && i > 0 {
		sum += heights[i+1] + heights[i+2]
	}
	return sum
}

func (d *Document) head(t table.Table, widths []float64) {
	var titles []string
	for _, c := range t.Columns {
		titles = append(titles, c.Title)
	}
	d.pdf.SetFont(pdfpage.Font, "B", tableSize)
	height := d.rowHeight(titles, widths)
	if d.room(height + 3*tableLine) {
		d.pdf.SetFont(pdfpage.Font, "B", tableSize)
	}
	d.row(t, titles, widths, height, "B")
}

// row writes one row and the line below it.
func (d *Document) row(t table.Table, cells []string, widths []float64, height float64, style string) {
	pdf := d.pdf
	pdf.SetFont(pdfpage.Font, style, tableSize)
	x, y := pageMargin, pdf.GetY()
	for i, c := range cells {
		align := "L"
		if t.Columns[i].Kind != table.Words {
			align = "R"
		}
		pdf.SetXY(x, y+0.5)
		pdf.MultiCell(widths[i], tableLine, c, "", align, false)
		x += widths[i]
	}
	pdf.SetLineWidth(0.1)
	pdf.SetDrawColor(0x99, 0x99, 0x99)
	if style == "B" {
		pdf.SetLineWidth(0.4)
		pdf.SetDrawColor(0x11, 0x11, 0x11)
	}
	pdf.Line(pageMargin, y+height, x, y+height)
	pdf.SetDrawColor(0x11, 0x11, 0x11)
	pdf.SetXY(pageMargin, y+height)
}

func (d *Document) rowHeight(cells []string, widths []float64) float64 {
	lines := 1
	for i, c := range cells {
		lines = max(lines, len(d.pdf.SplitText(c, widths[i])))
	}
	if d.blank {
		lines = max(lines, 2)
	}
	return float64(lines)*tableLine + 1
}

// mostStretch is how much wider than its words a column may become, in documents that are
// read; where people write, the page is used whole.
const mostStretch = 1.8

// widths shares out the page: every column gets what its longest word needs,
// and the rest goes by the length of the texts.
func (d *Document) widths(t words.Words) []float64 {
	d.pdf.SetFont(pdfpage.Font, "B", tableSize)
	least, wish := make([]float64, len(t.Columns)), make([]float64, len(t.Columns))
	for i, c := range t.Columns {
		cells := []string{c.Title}
		for _, row := range t.Rows {
			cells = append(cells, row[i])
		}
		for k, text := range cells {
			whole := d.pdf.GetStringWidth(text) + 2*cellMargin + 1
			if k == 0 && c.Kind != table.Words {
				whole = math.Min(whole, 17) // heads of figures may wrap
			}
			wish[i] = math.Max(wish[i], math.Min(whole, 70))
			least[i] = math.Max(least[i], math.Min(d.longestWord(text), 52))
		}
	}
	var sumLeast, sumWish float64
	for i := range wish {
		wish[i] = math.Max(wish[i], least[i])
		sumLeast, sumWish = sumLeast+least[i], sumWish+wish[i]
	}
	out, stretch := make([]float64, len(wish)), mostStretch
	if d.blank {
		stretch = math.Inf(1)
	}
	for i := range out {
		switch {
		case sumWish <= d.content:
			// A short table stays narrow, so that the eye finds its way along a row.
			out[i] = wish[i] * math.Min(d.content/sumWish, stretch)
		case sumLeast >= d.content:
			out[i] = least[i] * d.content / sumLeast
		default:
			out[i] = least[i] + (wish[i]-least[i])*(d.content-sumLeast)/(sumWish-sumLeast)
		}
	}
	return out
}

func (d *Document) longestWord(text string) float64 {
	widest, start := 0.0, 0
	for i, r := range text + " " {
		if r == ' ' {
			widest = math.Max(widest, d.pdf.GetStringWidth(text[start:min(i, len(text))]))
			start = i + 1
		}
	}
	return widest + 2*cellMargin + 1
}
