package layout

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"echotally/internal/printable"
)

// Width is the width of a text sheet in letters: it fits a terminal, a mail and
// A4.
const Width = 88

// Printer writes wrapped lines. Errors are those of its writer.
type Printer struct{ W io.Writer }

// Line writes one line, whatever the text says.
func (p Printer) Line(text string) { fmt.Fprintln(p.W, printable.Line(strings.TrimRight(text, " "))) }

// Rule draws a line across.
func (p Printer) Rule(mark string) { p.Line(strings.Repeat(mark, Width)) }

// Heading writes a heading below an empty line.
func (p Printer) Heading(text string) {
	p.Line("")
	p.Line(strings.ToUpper(text))
}

// Wrapped writes text with a first-line prefix; the other lines are indented
// as far as the prefix reaches, but not beyond the text column.
func (p Printer) Wrapped(prefix, text string) {
	indent := strings.Repeat(" ", min(utf8.RuneCountInString(prefix), 6))
	line, empty := prefix, true
	for _, word := range strings.Fields(text) {
		if !empty && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > Width {
			p.Line(line)
			line, empty = indent, true
		}
		if !empty {
			line += " "
		}
		line += word
		empty = false
	}
	p.Line(line)
}

// Labelled writes text behind a label, nothing without text.
func (p Printer) Labelled(label, text string) {
	if text != "" {
		p.Wrapped("      "+label, text)
	}
}
