// Package layout owns what all documents have in common, whatever they show:
// the caution, the formats, the width of text, the style of a page, the cells of
// a table for spreadsheets, and the words for a number of things.
package layout

import (
	"bytes"
	_ "embed"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"html/template"
	"io"
	"strconv"
	"strings"

	"echotally/internal/printable"
)

// Caution is printed on every output.
const Caution = "Quality-audit aid, not a diagnosis. The qualified reader, the lab's own protocol and local rules decide."

// Format is an output format.
type Format string

// Formats.
const (
	Text   Format = "text"
	JSON   Format = "json"
	NDJSON Format = "ndjson"
	CSV    Format = "csv"
	HTML   Format = "html"
)

// Formats lists the formats in the order in which they are shown.
func Formats() []Format { return []Format{Text, JSON, NDJSON, CSV, HTML} }

// ParseFormat reads a format's name.
func ParseFormat(name string) (Format, error) {
	var names []string
	for _, f := range Formats() {
		if name == string(f) {
			return f, nil
		}
		names = append(names, string(f))
	}
	return "", fmt.Errorf("unknown format %q: one of %s", name, strings.Join(names, ", "))
}

//go:embed style.css
var style string

// Style is the style sheet of every page.
func Style() template.CSS { return template.CSS(style) }

// Generator marks a page as a document of this program, so that [IsPage] knows
// it again.
func Generator(document string) template.HTML {
	return template.HTML(`<meta name="generator" content="echotally, ` + document + `">`)
}

// IsPage reports whether what begins so is a page of this program.
func IsPage(head []byte, document string) bool {
	return bytes.HasPrefix(head, []byte("<!DOCTYPE html>")) && bytes.Contains(head, []byte(Generator(document)))
}

// Foot adds to the style sheet what stands at the foot of every printed page,
// since pages get separated.
func Foot(text string) template.CSS {
	return template.CSS(`@page { @bottom-left { content: "` + quoted(text) + `"; font: 8pt Georgia, serif; color: #333; } }` + "\n")
}

// Paper gives an element printed pages of its own, with a heading on each and
// numbers of their own. How many there are in all is known only of the whole
// document, so it is said where that is one element.
func Paper(anchor, heading string, alone bool) template.CSS {
	name := "p" + strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' || r >= 'a' && r <= 'z' {
			return r
		}
		return '-'
	}, anchor)
	number := `"page " counter(` + name + `)`
	if alone {
		number = `"page " counter(page) " of " counter(pages)`
	}
	const font = `font: 8pt Georgia, serif; color: #333;`
	return template.CSS(`@page ` + name + ` { counter-increment: ` + name + `; @top-left { content: "` + quoted(heading) + `"; ` + font +
		` } @top-right { content: ` + number + `; ` + font + ` } }` + "\n" + `[id="` + quoted(anchor) + `"] { page: ` + name + `; }`)
}

// quoted leaves out what would end a text in quotes in a style sheet, or the style
// sheet.
func quoted(text string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || strings.ContainsRune(`"\<>`, r) {
			return -1
		}
		return r
	}, text)
}

// Encode writes one JSON value and a newline. Characters stay as they are: the
// documents are not pasted into HTML.
func Encode(w io.Writer, indent bool, v any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	if indent {
		e.SetIndent("", "  ")
	}
	return e.Encode(v)
}

// Guard keeps a spreadsheet from taking a cell for a formula: a cell that
// begins with one of its signs gets an apostrophe, unless it is a number.
func Guard(cell string) string {
	if cell == "" || !strings.ContainsRune("=+-@\t\r\n", rune(cell[0])) {
		return cell
	}
	if _, err := strconv.ParseFloat(cell, 64); err == nil && !strings.ContainsAny(cell, "nNxX") {
		return cell
	}
	return "'" + cell
}

// Row writes a row of guarded cells, in which nothing acts on what shows it.
func Row(w *csv.Writer, cells ...string) error {
	guarded := make([]string, len(cells))
	for i, c := range cells {
		guarded[i] = Guard(printable.Text(strings.ReplaceAll(c, "\r\n", "\n")))
	}
	return w.Write(guarded)
}

// Count says how many there are of a thing whose plural has an s.
func Count(n int, noun string) string { return CountOf(n, noun, noun+"s") }

// CountOf says how many there are: 1 study, 2 studies.
func CountOf(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// OrElse gives the text, or what is shown when there is none.
func OrElse(text, otherwise string) string {
	if text == "" {
		return otherwise
	}
	return text
}

// NonEmpty gives the texts that are not empty.
func NonEmpty(texts ...string) []string {
	var out []string
	for _, t := range texts {
		if t != "" {
			out = append(out, t)
		}
	}
	return out
}
