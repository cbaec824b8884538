// Package printable owns what may be printed of a text that somebody else wrote:
// characters that move a cursor, begin a line, change a terminal or turn the
// direction of writing are shown as escapes, and never take effect.
package printable

import (
	"io"
	"strings"
	"unicode/utf8"
)

// Unsafe reports whether a character acts on what shows it instead of being shown:
// the control characters C0, DEL and C1, the line and paragraph separators, and the
// embeddings, overrides and isolates of bidirectional text. Marks that scripts need
// (joiners, left-to-right mark) are none.
func Unsafe(r rune) bool {
	switch {
	case r < 0x20, r >= 0x7F && r <= 0x9F:
		return true
	case r == 0x2028, r == 0x2029, r >= 0x202A && r <= 0x202E, r >= 0x2066 && r <= 0x2069:
		return true
	case r == 0xFEFF, r >= 0xFFF9 && r <= 0xFFFB, r >= 0xE0000 && r <= 0xE007F:
		return true
	}
	return false
}

// Line returns the text as one line: everything unsafe, also line ends, tabs and
// bytes that are no UTF-8, as an escape such as \u001b.
func Line(text string) string { return escape(text, nothing) }

// Text is Line for a text of several lines: line feeds and tabs stay.
func Text(text string) string { return escape(text, layout) }

// Quote is Line, cut to so many characters, for a fault that shows what it is about.
func Quote(text string, most int) string {
	n := 0
	for i := range text {
		if n++; n > most {
			return Line(text[:i]) + "…"
		}
	}
	return Line(text)
}

func layout(r rune) bool  { return r == '\n' || r == '\t' }
func nothing(r rune) bool { return false }

func escape(text string, keep func(rune) bool) string {
	if plain(text) {
		return text
	}
	var b strings.Builder
	for i, r := range text {
		switch {
		case r == utf8.RuneError && text[i] != "\uFFFD"[0]:
			hex(&b, rune(text[i]))
		case Unsafe(r) && !keep(r):
			hex(&b, r)
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// plain reports whether a text is plain ASCII without controls, as most are.
func plain(text string) bool {
	for i := range len(text) {
		if c := text[i]; c < 0x20 || c >= 0x7F {
			return false
		}
	}
	return true
}

// hex writes the escape that JSON has, in which it means the same character.
func hex(b *strings.Builder, r rune) {
	const digits = "0123456789abcdef"
	unit := func(u rune) {
		b.WriteString(`\u`)
		for shift := 12; shift >= 0; shift -= 4 {
			b.WriteByte(digits[u>>shift&15])
		}
	}
	if r > 0xFFFF {
		r -= 0x10000
		unit(0xD800 + r>>10)
		r = 0xDC00 + r&0x3FF
	}
	unit(r)
}

// NewWriter passes text on with everything unsafe as escapes but line feeds and
// tabs. In JSON, where control characters stand in strings only, the value stays the
// same. It is the last guard before a screen or a file of text; what must stay on
// one line goes through [Line] before.
func NewWriter(w io.Writer) io.WriteCloser { return &writer{to: w} }

type writer struct {
	to   io.Writer
	rest []byte // the beginning of a character that is not whole yet
}

// Write passes on all of p but a last character that is not whole.
func (w *writer) Write(p []byte) (int, error) {
	text := p
	if len(w.rest) == 0 && laidOut(p) {
		return w.to.Write(p)
	}
	if len(w.rest) > 0 {
		text = append(w.rest, p...)
		w.rest = nil
	}
	if n := begun(text); n > 0 {
		w.rest = append([]byte(nil), text[len(text)-n:]...)
		text = text[:len(text)-n]
	}
	if _, err := io.WriteString(w.to, Text(string(text))); err != nil {
		return 0, err
	}
	return len(p), nil
}

// laidOut reports whether bytes are plain ASCII with line feeds and tabs.
func laidOut(p []byte) bool {
	for _, c := range p {
		if c >= 0x7F || c < 0x20 && c != '\n' && c != '\t' {
			return false
		}
	}
	return true
}

// Close passes on what never became a character.
func (w *writer) Close() error {
	rest := w.rest
	w.rest = nil
	_, err := io.WriteString(w.to, Text(string(rest)))
	return err
}

// begun counts the bytes at the end that begin a character and do not end it.
func begun(p []byte) int {
	for n := 1; n < utf8.UTFMax && n <= len(p); n++ {
		if last := p[len(p)-n:]; utf8.RuneStart(last[0]) {
			if !utf8.FullRune(last) {
				return n
			}
			return 0
		}
	}
	return 0
}
