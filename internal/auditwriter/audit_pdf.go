package auditwriter

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"echotally/internal/audit"
	"echotally/internal/layout"
)

// The page is A4; what is printed also fits on Letter.
const (
	pageWidth    = 210.0
	pageMargin   = 14.0
	contentWidth = pageWidth - 2*pageMargin
	contentFoot  = 262.0 // mm from the top; Letter ends at 279
)

// overflow is how far, in mm from the top, page one may run on to the next for
// that to go on with the comparisons.
const overflow = 60.0

// pdfOmitted are the tables whose figures page one already shows.
var pdfOmitted = map[string]bool{"headlines": true, "months": true}

// auditPDF writes the report for printing and for the minutes.
func auditPDF(w io.Writer, r *audit.Report, charts []auditChart) error {
	d, err := newPDF(headingOf(r), r.Options.Created)
	if err != nil {
		return err
	}
	d.pdf.AddPage()
	d.pdf.Bookmark("Page one", 0, 0)
	d.pageOne(r)
	var cards, followed, others []auditChart
	for _, c := range charts {
		switch {
		case c.Headline == nil:
			others = append(others, c)
		case c.followed():
			followed = append(followed, c)
		default:
			cards = append(cards, c)
		}
	}
	d.heading("Headline measures")
	d.charts(cards)
	if notes := r.Notes.Words(); notes != "" {
		d.text(notes, "", 8)
	}
	d.small(chartCaption(r))
	if r.Other == nil { // nobody signs a what-if
		d.signatures(headingOf(r).signatures(r.Options.Prepared))
	}
	if len(followed)+len(others) > 0 {
		if d.pdf.GetY() > overflow || d.pdf.PageNo() == 1 {
			d.pdf.AddPage()
		}
		d.pdf.Bookmark("Actions and comparisons", 0, -1)
	}
	if len(followed) > 0 {
		d.heading("What actions should move")
		d.charts(followed)
	}
	if len(others) > 0 {
		d.heading("Comparisons")
		d.charts(others)
		d.small(comparisonCaption)
	}
	d.pdf.AddPage()
	for _, t := range r.Tables {
		if !pdfOmitted[t.Identifier] {
			d.table(t)
		}
	}
	return d.pdf.Output(w)
}

// pdfDocument is a PDF being written from top to bottom.
type pdfDocument struct {
	pdf   *lettered
	blank bool // tables are filled in by hand
}

func newPDF(h auditHeading, created time.Time) (*pdfDocument, error) {
	pdf, err := newLettered()
	if err != nil {
		return nil, err
	}
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
	pdf.SetFooterFunc(func() {
		pdf.SetTextColor(0x33, 0x33, 0x33)
		pdf.SetFont(pdfFont, "", 6.5)
		pdf.SetXY(pageMargin, contentFoot+4)
		pdf.CellFormat(contentWidth-20, 3, fit(pdf, h.foot(), contentWidth-22), "", 0, "L", false, 0, "")
		pdf.CellFormat(20, 3, fmt.Sprintf("page %d of {pages}", pdf.PageNo()), "", 1, "R", false, 0, "")
		pdf.SetX(pageMargin)
		pdf.CellFormat(contentWidth, 3, layout.Caution, "", 0, "L", false, 0, "")
		pdf.SetTextColor(0x11, 0x11, 0x11)
	})
	pdf.SetTextColor(0x11, 0x11, 0x11)
	pdf.SetDrawColor(0x11, 0x11, 0x11)
	return &pdfDocument{pdf: pdf}, nil
}

func (d *pdfDocument) pageOne(r *audit.Report) {
	h, pdf := headingOf(r), d.pdf
	pdf.SetLineWidth(0.5)
	pdf.Line(pageMargin, pdf.GetY(), pageMargin+contentWidth, pdf.GetY())
	pdf.Ln(1.5)
	pdf.SetFont(pdfFont, "B", 15)
	pdf.MultiCell(contentWidth, 6.5, h.Title, "", "L", false)
	pdf.SetFont(pdfFont, "B", 10)
	pdf.MultiCell(contentWidth, 4.6, h.Lab, "", "L", false)
	d.text(h.Prepared+"; data to "+h.Cutoff+".", "", 9)
	line := h.Received + " received, " + h.Eligible + " eligible for completeness"
	if len(h.Excluded) > 0 {
		line += "; " + strings.Join(h.Excluded, "; ")
	}
	d.text(line+".", "", 9)
	if r.Other != nil {
		d.heading("This is not the lab's audit: what if other rules held")
		for _, l := range r.Other.Lines() {
			d.item("–", l)
		}
	}
	d.heading("What signals")
	notable := firstLines(r.Notable())
	for _, n := range notable {
		d.item("–", n)
	}
	if len(notable) == 0 {
		d.text("Nothing signals.", "I", 9)
	}
	d.small(r.Chance.Expected())
	d.heading("What would help most")
	for i, p := range r.Proposals {
		d.item(fmt.Sprintf("%d.", i+1), p.Text+" ("+about(p.Studies)+")")
	}
	if len(r.Proposals) == 0 {
		d.text("Nothing stands out.", "I", 9)
	}
}

func (d *pdfDocument) heading(title string) {
	d.room(14)
	d.pdf.Ln(2)
	d.pdf.SetFont(pdfFont, "B", 10.5)
	y := d.pdf.GetY()
	d.pdf.SetFillColor(0x11, 0x11, 0x11)
	d.pdf.Rect(pageMargin, y+0.6, 1.6, 4, "F")
	d.pdf.SetX(pageMargin + 3)
	d.pdf.CellFormat(contentWidth-3, 5.2, title, "", 1, "L", false, 0, "")
}

// room begins a new page when less than this is left.
func (d *pdfDocument) room(height float64) bool {
	if d.pdf.GetY()+height <= contentFoot {
		return false
	}
	d.pdf.AddPage()
	return true
}

func (d *pdfDocument) text(words, style string, size float64) {
	d.pdf.SetFont(pdfFont, style, size)
	if d.room(float64(len(d.pdf.SplitText(words, contentWidth))) * size * 0.44) {
		d.pdf.SetFont(pdfFont, style, size)
	}
	d.pdf.MultiCell(contentWidth, size*0.44, words, "", "L", false)
}

func (d *pdfDocument) small(words string) {
	d.pdf.SetTextColor(0x33, 0x33, 0x33)
	d.text(words, "", 7.5)
	d.pdf.SetTextColor(0x11, 0x11, 0x11)
}

func (d *pdfDocument) item(mark, words string) {
	d.room(8)
	d.pdf.SetFont(pdfFont, "", 9)
	d.pdf.CellFormat(4.5, 4, mark, "", 0, "L", false, 0, "")
	d.pdf.MultiCell(contentWidth-4.5, 4, words, "", "L", false)
}

// comparisonCaption explains the charts of the comparisons.
const comparisonCaption = "Funnels: dashed 95 %, plain 99.8 % limits about the share of all, exact binomial. Codes of persons are drawn anew for every period and audience. End digits: bars of the person, rings what the others' digits tell. Agreement: second less first reading against their mean, bias dashed, limits plain."

// signatures is the block to sign.
func (d *pdfDocument) signatures(lines [3][2]string) {
	const height, gap = 13.0, 6.0
	d.room(height + 2)
	d.pdf.Ln(1)
	top, width := d.pdf.GetY(), (contentWidth-2*gap)/3
	for i, l := range lines {
		x := pageMargin + float64(i)*(width+gap)
		d.pdf.SetFont(pdfFont, "", 8)
		d.pdf.SetXY(x, top)
		d.pdf.CellFormat(width, 3.6, fit(d.pdf, strings.TrimSpace(l[0]+" "+l[1]), width), "", 0, "L", false, 0, "")
		d.pdf.SetLineWidth(0.2)
		d.pdf.Line(x, top+height-3.4, x+width, top+height-3.4)
		d.pdf.SetFont(pdfFont, "", 6.5)
		d.pdf.SetXY(x, top+height-3.2)
		d.pdf.CellFormat(width, 3, "name, signature, date", "", 0, "L", false, 0, "")
	}
	d.pdf.SetXY(pageMargin, top+height)
}

// Heights of the lines of a card in mm.
const (
	titleLine = 4.0
	smallLine = 3.0
)

// charts puts the figures in two columns, each under its title.
func (d *pdfDocument) charts(list []auditChart) {
	const gap = 6.0
	column := (contentWidth - gap) / 2
	for i := 0; i < len(list); i += 2 {
		pair := list[i:min(i+2, len(list))]
		height, title := 0.0, 0.0
		for _, c := range pair {
			title = math.Max(title, titleLine*float64(len(d.titleLines(c, column))))
			height = math.Max(height, float64(c.Figure.Height)*millimetres+smallLine+0.6)
		}
		d.room(height + title + 1)
		top := d.pdf.GetY()
		for k, c := range pair {
			d.card(c, pageMargin+float64(k)*(column+gap), top, column, title)
		}
		d.pdf.SetXY(pageMargin, top+height+title+1)
	}
}

// titleLines breaks a title beside the figure of its measure.
func (d *pdfDocument) titleLines(c auditChart, width float64) []string {
	d.pdf.SetFont(pdfFont, "", 9)
	return d.pdf.SplitText(c.Figure.Title, width-d.shareWidth(c))
}

func (d *pdfDocument) shareWidth(c auditChart) float64 {
	if c.Headline == nil {
		return 0
	}
	d.pdf.SetFont(pdfFont, "B", 9)
	defer d.pdf.SetFont(pdfFont, "", 9)
	return d.pdf.GetStringWidth(audit.Percent(c.Headline.Now)) + 3
}

// fit cuts a line that is too long for its place.
func fit(pdf *lettered, line string, width float64) string {
	if pdf.GetStringWidth(line) <= width-1 {
		return line
	}
	runes := []rune(line)
	for len(runes) > 0 && pdf.GetStringWidth(string(runes)+"…") > width-1 {
		runes = runes[:len(runes)-1]
	}
	return string(runes) + "…"
}

func (d *pdfDocument) card(c auditChart, x, y, width, title float64) {
	pdf := d.pdf
	pdf.SetDrawColor(0x11, 0x11, 0x11)
	pdf.SetTextColor(0x11, 0x11, 0x11)
	pdf.SetDashPattern(nil, 0)
	pdf.SetLineWidth(0.2)
	pdf.Line(x, y, x+width, y)
	for i, l := range d.titleLines(c, width) {
		pdf.SetXY(x, y+0.4+float64(i)*titleLine)
		pdf.CellFormat(width, titleLine, l, "", 0, "L", false, 0, "")
	}
	if h := c.Headline; h != nil {
		pdf.SetXY(x, y+0.4)
		pdf.SetFont(pdfFont, "B", 9)
		pdf.CellFormat(width, titleLine, audit.Percent(h.Now), "", 0, "R", false, 0, "")
		pdf.SetXY(x, y+0.2+title)
		pdf.SetFont(pdfFont, "", 7)
		pdf.CellFormat(width, smallLine, fit(pdf, strings.Join(cardWords(h), "; "), width), "", 0, "L", false, 0, "")
	}
	canvas := newPDFCanvas(pdf, x, y+title+smallLine+0.4+float64(c.Figure.Height)*millimetres)
	c.Figure.Draw(canvas)
	pdf.SetDashPattern(nil, 0)
	pdf.SetTextColor(0x11, 0x11, 0x11)
	pdf.SetDrawColor(0x11, 0x11, 0x11)
}
