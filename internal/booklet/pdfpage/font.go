package pdfpage

import (
	"fmt"
	"strings"

	"codeberg.org/go-fonts/liberation/liberationserifbold"
	"codeberg.org/go-fonts/liberation/liberationserifitalic"
	"codeberg.org/go-fonts/liberation/liberationserifregular"
	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/sfnt"

	"echotally/internal/printable"
)

// Font is Liberation Serif (SIL Open Font License 1.1), embedded.
const Font = "serif"

// noLetter is shown for a letter that the font lacks.
const noLetter = '\uFFFD'

// Pages is a PDF whose texts hold only letters that its font has: another one
// would end the document, or leave a gap that nobody sees. The methods are those
// of fpdf.
type Pages struct {
	*fpdf.Fpdf
	font   *sfnt.Font
	buffer sfnt.Buffer
	has    map[rune]bool
}

// New begins one on a kind of paper.
func New(paper Paper) (*Pages, error) {
	// The three styles have the same letters.
	font, err := sfnt.Parse(liberationserifregular.TTF)
	if err != nil {
		return nil, fmt.Errorf("internal error: the font of the PDF: %w", err)
	}
	pdf := fpdf.New("P", "mm", string(paper), "")
	pdf.AddUTF8FontFromBytes(Font, "", liberationserifregular.TTF)
	pdf.AddUTF8FontFromBytes(Font, "B", liberationserifbold.TTF)
	pdf.AddUTF8FontFromBytes(Font, "I", liberationserifitalic.TTF)
	return &Pages{Fpdf: pdf, font: font, has: map[rune]bool{}}, nil
}

// In has texts show the letters of another font, until back is called.
func (l *Pages) In(font *sfnt.Font) (back func()) {
	was, had := l.font, l.has
	l.font, l.has = font, map[rune]bool{}
	return func() { l.font, l.has = was, had }
}

// shown is a text without what acts instead of being shown, and with every letter
// replaced that the font lacks.
func (l *Pages) shown(text string) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' {
			return r
		}
		known, seen := l.has[r]
		if !seen {
			glyph, err := l.font.GlyphIndex(&l.buffer, r)
			known = err == nil && glyph != 0
			l.has[r] = known
		}
		if known {
			return r
		}
		return noLetter
	}, printable.Text(text))
}

// SetTitle names the document.
func (l *Pages) SetTitle(text string) { l.Fpdf.SetTitle(l.shown(text), true) }

// CellFormat writes a cell.
func (l *Pages) CellFormat(w, h float64, text, border string, line int, align string, fill bool, link int, address string) {
	l.Fpdf.CellFormat(w, h, l.shown(text), border, line, align, fill, link, address)
}

// MultiCell writes a cell whose text wraps.
func (l *Pages) MultiCell(w, h float64, text, border, align string, fill bool) {
	l.Fpdf.MultiCell(w, h, l.shown(text), border, align, fill)
}

// Text writes text at a place.
func (l *Pages) Text(x, y float64, text string) { l.Fpdf.Text(x, y, l.shown(text)) }

// SplitText gives the lines that the text wraps to.
func (l *Pages) SplitText(text string, w float64) []string {
	return l.Fpdf.SplitText(l.shown(text), w)
}

// GetStringWidth gives the width of the text.
func (l *Pages) GetStringWidth(text string) float64 { return l.Fpdf.GetStringWidth(l.shown(text)) }

// Bookmark names a place.
func (l *Pages) Bookmark(text string, level int, y float64) {
	l.Fpdf.Bookmark(l.shown(text), level, y)
}
