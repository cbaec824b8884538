// Package charset owns the character sets of DICOM text: bytes and what Specific
// Character Set (0008,0005) says go in, valid UTF-8 comes out (PS3.3 C.12.1.1.2,
// PS3.5 6.1). Bytes that a set does not have become U+FFFD, with a note. It knows
// of no elements, and no note repeats the text.
package charset

import (
	"bytes"
	"strings"
	"unicode/utf8"

	xtext "golang.org/x/text/encoding"
	"golang.org/x/text/encoding/simplifiedchinese"

	"echotally/internal/charset/repertoire"
)

// Set decodes the text of one level of a data set. What [Parse] gives for no
// terms is the default repertoire, ASCII.
type Set struct {
	whole      xtext.Encoding // a set that takes the value as a whole: UTF-8, GB18030, GBK
	utf8       bool
	undeclared bool              // nothing was declared
	g0, g1     *repertoire.Set   // active at the start of each value and after a delimiter
	extra      []*repertoire.Set // further sets, reached by escape sequences
}

// Form is how the value representation of a text treats its characters.
type Form struct {
	Encodable bool // the Specific Character Set applies (PS3.5 6.1.2.2)
	Unsplit   bool // there is one value, in which a backslash is text
	Name      bool // PN: the parts of a name are delimited
}

// Parse reads the defined terms of Specific Character Set, none when it is absent.
// Misspelt ones are understood; the notes say so.
func Parse(terms ...string) (*Set, []string) {
	cs := &Set{g0: repertoire.ASCII, undeclared: len(terms) == 0 || len(terms) == 1 && terms[0] == ""}
	var notes []string
	for i, raw := range terms {
		number, exact := repertoire.Registration(raw)
		switch {
		case number == "":
			if raw != "" {
				notes = append(notes, "unknown character set; text beyond ASCII is replaced")
			}
			continue
		case !exact:
			notes = append(notes, "misspelt character set term, understood as "+number)
		}
		whole := number == "192" || number == "GB18030" || number == "GBK"
		switch {
		case whole && i == 0:
			cs.utf8 = number == "192"
			cs.whole = map[string]xtext.Encoding{"GB18030": simplifiedchinese.GB18030, "GBK": simplifiedchinese.GBK}[number]
			if len(terms) > 1 {
				notes = append(notes, "character set without code extensions has further values; they are ignored")
			}
			return cs, notes
		case whole:
			notes = append(notes, "character set without code extensions as a further value; it is ignored")
		case repertoire.DoubleByte(number) != nil:
			if i == 0 {
				notes = append(notes, "multi-byte character set as first value")
			}
			cs.extra = append(cs.extra, repertoire.DoubleByte(number))
		case i == 0:
			cs.g1 = repertoire.SingleByte(number)
			if number == "13" {
				cs.g0 = repertoire.Romaji
			}
		case repertoire.SingleByte(number) != nil:
			cs.extra = append(cs.extra, repertoire.SingleByte(number))
		}
	}
	return cs, notes
}

// Notes on text; none repeats the text.
const (
	noteReplaced   = "bytes that the declared character set does not have; replaced"
	noteUndeclared = "text beyond ASCII, but no character set declared; replaced where it is not UTF-8"
	noteNotText    = "bytes beyond ASCII in a value representation that has none"
	noteEscape     = "escape sequence of a character set that is not declared"
	noteUnescaped  = "bytes of a declared character set without its escape sequence; understood"
	noteShiftJIS   = "Shift-JIS text under ISO_IR 13; understood"
)

// Decode returns the text as valid UTF-8, padding and delimiters as they are, and a
// note on what was wrong with it.
func (cs *Set) Decode(form Form, raw []byte) (s, note string) {
	switch {
	case Plain(raw) && cs.Plain(form):
		return string(raw), ""
	case cs.utf8:
		s, note = validUTF8(string(raw))
	case cs.whole != nil:
		s, note = decodeWith(cs.whole, raw)
	case cs.undeclared && !bytes.ContainsRune(raw, escape):
		if s = string(raw); utf8.ValidString(s) {
			note = noteUndeclared
		} else {
			s, note = strings.ToValidUTF8(s, "\uFFFD"), noteUndeclared
		}
	default:
		s, note = cs.extended(form, raw)
	}
	if !form.Encodable && note == "" && !Plain(raw) {
		note = noteNotText
	}
	return s, note
}

// Plain reports whether ASCII stands for itself, which it does but in Romaji.
func (cs *Set) Plain(form Form) bool { return cs.g0 != repertoire.Romaji || !form.Encodable }

// Plain reports whether the bytes are ASCII without escape sequences.
func Plain(b []byte) bool {
	for _, c := range b {
		if c >= 0x80 || c == escape {
			return false
		}
	}
	return true
}

func validUTF8(s string) (string, string) {
	if utf8.ValidString(s) {
		return s, ""
	}
	return strings.ToValidUTF8(s, "\uFFFD"), noteReplaced
}

// decodeWith decodes with a library decoder; those replace what they do not know.
func decodeWith(enc xtext.Encoding, raw []byte) (string, string) {
	out, err := enc.NewDecoder().Bytes(raw)
	if err != nil {
		return strings.ToValidUTF8(string(raw), "\uFFFD"), noteReplaced
	}
	if s := string(out); strings.ContainsRune(s, utf8.RuneError) {
		return s, noteReplaced
	} else {
		return s, ""
	}
}
