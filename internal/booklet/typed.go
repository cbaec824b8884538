package booklet

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"codeberg.org/go-fonts/liberation/liberationmonoregular"
	"golang.org/x/image/font/sfnt"

	"echotally/internal/layout"
)

// typedFont is Liberation Mono (SIL Open Font License 1.1), embedded.
const (
	typedFont = "mono"
	typedLine = 1.18 // height of a line in font sizes
	perEm     = 0.6  // width of a letter of the font in font sizes
	points    = 72 / 25.4
)

// Typed writes text whose lines are laid out already, up to [layout.Width] letters wide,
// letter under letter. A line in capitals stays with what follows it.
func (d *Document) Typed(text string) error {
	font, err := sfnt.Parse(liberationmonoregular.TTF)
	if err != nil {
		return fmt.Errorf("internal error: the font of typed text: %w", err)
	}
	// It has not the letters of the other one.
	defer d.pdf.In(font)()
	d.pdf.AddUTF8FontFromBytes(typedFont, "", liberationmonoregular.TTF)
	size := d.content / layout.Width / perEm // mm
	height := size * typedLine
	for line := range strings.Lines(likeLetters.Replace(text)) {
		line = strings.TrimRight(line, "\n")
		for first := true; first || line != ""; first = false {
			part := line
			if runes := []rune(line); len(runes) > layout.Width {
				part = string(runes[:layout.Width])
			}
			line = line[len(part):]
			if need := height * headed(part); d.pdf.GetY()+need > d.foot {
				d.pdf.AddPage()
			}
			d.pdf.SetFont(typedFont, "", size*points)
			d.pdf.CellFormat(d.content, height, part, "", 1, "L", false, 0, "")
		}
	}
	return nil
}

// likeLetters puts in the place of marks that the font lacks those that look alike.
var likeLetters = strings.NewReplacer("◇", "◊", "✓", "√")

// headed is how many lines the line has to have room for.
func headed(line string) float64 {
	if utf8.RuneCountInString(line) > 2 && line == strings.ToUpper(line) && line != strings.ToLower(line) {
		return 4
	}
	return 1
}
