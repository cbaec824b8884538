package booklet

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"echotally/internal/booklet/pdfpage"
	"echotally/internal/layout"
)

// Document is a PDF being written from top to bottom, with foot, page numbers and
// bookmarks.
type Document struct {
	pdf           *pdfpage.Pages
	blank         bool    // the table is filled in by hand
	content, foot float64 // width of the content; where it ends, mm from the top
}

// NewDocument begins a document with its first page.
func NewDocument(paper pdfpage.Paper, h Heading, created time.Time) (*Document, error) {
	if paper == "" {
		paper = pdfpage.A4
	}
	pdf, err := pdfpage.New(paper)
	if err != nil {
		return nil, err
	}
	width, height := paper.Size()
	d := &Document{pdf: pdf, content: width - 2*pageMargin, foot: height - footRoom}
	pdf.SetCatalogSort(true)
	pdf.SetCreationDate(created.UTC())
	pdf.SetModificationDate(created.UTC())
	pdf.SetTitle(h.Title)
	pdf.SetProducer(h.Software, true)
	pdf.SetLang("en")
	pdf.SetMargins(pageMargin, 15, pageMargin)
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetCellMargin(cellMargin)
	pdf.AliasNbPages("{pages}")
	pdf.SetFooterFunc(func() { d.footer(h.Foot()) })
	d.ink()
	pdf.AddPage()
	return d, nil
}

func (d *Document) footer(foot string) {
	pdf := d.pdf
	pdf.SetTextColor(0x33, 0x33, 0x33)
	pdf.SetFont(pdfpage.Font, "", 6.5)
	pdf.SetXY(pageMargin, d.foot+4)
	pdf.CellFormat(d.content-20, 3, d.fit(foot, d.content-22), "", 0, "L", false, 0, "")
	pdf.CellFormat(20, 3, fmt.Sprintf("page %d of {pages}", pdf.PageNo()), "", 1, "R", false, 0, "")
	pdf.SetX(pageMargin)
	pdf.CellFormat(d.content, 3, layout.Caution, "", 0, "L", false, 0, "")
	d.ink()
}

// ink is the colour of letters and lines.
func (d *Document) ink() {
	d.pdf.SetTextColor(0x11, 0x11, 0x11)
	d.pdf.SetDrawColor(0x11, 0x11, 0x11)
}

// Output ends the document.
func (d *Document) Output(w io.Writer) error { return d.pdf.Output(w) }

// Break begins a new page unless no more than so many mm of this one are used.
func (d *Document) Break(used float64) {
	if d.pdf.GetY() > used {
		d.pdf.AddPage()
	}
}

// Page is the number of the page.
func (d *Document) Page() int { return d.pdf.PageNo() }

// Bookmark names this place.
func (d *Document) Bookmark(text string) { d.pdf.Bookmark(text, 0, -1) }

// Title is the head of the first page, with an optional bold line below it.
func (d *Document) Title(title, bold string, size float64) {
	pdf := d.pdf
	pdf.Bookmark(title, 0, 0)
	pdf.SetLineWidth(0.5)
	pdf.Line(pageMargin, pdf.GetY(), pageMargin+d.content, pdf.GetY())
	pdf.Ln(1.5)
	pdf.SetFont(pdfpage.Font, "B", size)
	pdf.MultiCell(d.content, size*0.435, title, "", "L", false)
	if bold != "" {
		pdf.SetFont(pdfpage.Font, "B", 10)
		pdf.MultiCell(d.content, 4.6, bold, "", "L", false)
	}
}

// Heading begins a section.
func (d *Document) Heading(title string) {
	d.room(14)
	d.pdf.Ln(2)
	d.pdf.SetFont(pdfpage.Font, "B", 10.5)
	y := d.pdf.GetY()
	d.pdf.SetFillColor(0x11, 0x11, 0x11)
	d.pdf.Rect(pageMargin, y+0.6, 1.6, 4, "F")
	d.pdf.SetX(pageMargin + 3)
	d.pdf.CellFormat(d.content-3, 5.2, title, "", 1, "L", false, 0, "")
}

// room begins a new page when less than this is left.
func (d *Document) room(height float64) bool {
	if d.pdf.GetY()+height <= d.foot {
		return false
	}
	d.pdf.AddPage()
	return true
}

// Text writes a paragraph in a size in points.
func (d *Document) Text(words string, size float64) { d.text(words, "", size) }

// Nothing says in italics that there is nothing.
func (d *Document) Nothing(words string) { d.text(words, "I", 9) }

func (d *Document) text(words, style string, size float64) {
	d.pdf.SetFont(pdfpage.Font, style, size)
	if d.room(float64(len(d.pdf.SplitText(words, d.content))) * size * 0.44) {
		d.pdf.SetFont(pdfpage.Font, style, size)
	}
	d.pdf.MultiCell(d.content, size*0.44, words, "", "L", false)
}

// Small writes what explains what stands above it.
func (d *Document) Small(words string) {
	d.pdf.SetTextColor(0x33, 0x33, 0x33)
	d.text(words, "", 7.5)
	d.pdf.SetTextColor(0x11, 0x11, 0x11)
}

// Item writes a line of a list behind its mark.
func (d *Document) Item(mark, words string) {
	d.pdf.SetFont(pdfpage.Font, "", 9)
	if d.room(4 * float64(len(d.pdf.SplitText(words, d.content-4.5)))) {
		d.pdf.SetFont(pdfpage.Font, "", 9)
	}
	d.pdf.CellFormat(4.5, 4, mark, "", 0, "L", false, 0, "")
	d.pdf.MultiCell(d.content-4.5, 4, words, "", "L", false)
}

// Signatures is a block to sign: what each signs as, and who that is.
func (d *Document) Signatures(lines [][2]string) {
	const height, gap = 13.0, 6.0
	d.room(height + 2)
	d.pdf.Ln(1)
	n := float64(len(lines))
	top, width := d.pdf.GetY(), (d.content-(n-1)*gap)/n
	for i, l := range lines {
		x := pageMargin + float64(i)*(width+gap)
		d.pdf.SetFont(pdfpage.Font, "", 8)
		d.pdf.SetXY(x, top)
		d.pdf.CellFormat(width, 3.6, d.fit(strings.TrimSpace(l[0]+" "+l[1]), width), "", 0, "L", false, 0, "")
		d.pdf.SetLineWidth(0.2)
		d.pdf.Line(x, top+height-3.4, x+width, top+height-3.4)
		d.pdf.SetFont(pdfpage.Font, "", 6.5)
		d.pdf.SetXY(x, top+height-3.2)
		d.pdf.CellFormat(width, 3, "name, signature, date", "", 0, "L", false, 0, "")
	}
	d.pdf.SetXY(pageMargin, top+height)
}

// fit cuts a line that is too long for its place.
func (d *Document) fit(line string, width float64) string {
	if d.pdf.GetStringWidth(line) <= width-1 {
		return line
	}
	runes := []rune(line)
	for len(runes) > 0 && d.pdf.GetStringWidth(string(runes)+"…") > width-1 {
		runes = runes[:len(runes)-1]
	}
	return string(runes) + "…"
}

// Heights of the lines of a card in mm.
const (
	titleLine = 4.0
	smallLine = 3.0
)

// Charts puts the figures in two columns, each under its title.
func (d *Document) Charts(list []Chart) {
	const gap = 6.0
	column := (d.content - gap) / 2
	for i := 0; i < len(list); i += 2 {
		pair := list[i:min(i+2, len(list))]
		height, title := 0.0, 0.0
		for _, c := range pair {
			title = math.Max(title, titleLine*float64(len(d.titleLines(c, column))))
			height = math.Max(height, float64(c.Figure.Height)*pdfpage.Millimetres+smallLine+0.6)
		}
		d.room(height + title + 1)
		top := d.pdf.GetY()
		for k, c := range pair {
			d.card(c, pageMargin+float64(k)*(column+gap), top, column, title)
		}
		d.pdf.SetXY(pageMargin, top+height+title+1)
	}
}

// titleLines breaks a title beside its share.
func (d *Document) titleLines(c Chart, width float64) []string {
	if c.Share != "" {
		d.pdf.SetFont(pdfpage.Font, "B", 9)
		width -= d.pdf.GetStringWidth(c.Share) + 3
	}
	d.pdf.SetFont(pdfpage.Font, "", 9)
	return d.pdf.SplitText(c.Figure.Title, width)
}

func (d *Document) card(c Chart, x, y, width, title float64) {
	pdf := d.pdf
	d.ink()
	pdf.SetDashPattern(nil, 0)
	pdf.SetLineWidth(0.2)
	pdf.Line(x, y, x+width, y)
	for i, l := range d.titleLines(c, width) {
		pdf.SetXY(x, y+0.4+float64(i)*titleLine)
		pdf.CellFormat(width, titleLine, l, "", 0, "L", false, 0, "")
	}
	pdf.SetXY(x, y+0.4)
	pdf.SetFont(pdfpage.Font, "B", 9)
	pdf.CellFormat(width, titleLine, c.Share, "", 0, "R", false, 0, "")
	pdf.SetXY(x, y+0.2+title)
	pdf.SetFont(pdfpage.Font, "", 7)
	pdf.CellFormat(width, smallLine, d.fit(c.Small, width), "", 0, "L", false, 0, "")
	c.Figure.Draw(pdfpage.NewCanvas(pdf, x, y+title+smallLine+0.4+float64(c.Figure.Height)*pdfpage.Millimetres))
	pdf.SetDashPattern(nil, 0)
	d.ink()
}

// Lengths in mm.
const (
	pageMargin = 14.0
	footRoom   = 18.0 // what is left below the content
)
