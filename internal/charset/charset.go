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
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/japanese"
	"golang.org/x/text/encoding/korean"
	"golang.org/x/text/encoding/simplifiedchinese"
)

// Set decodes the text of one level of a data set. What [Parse] gives for no
// terms is the default repertoire, ASCII.
type Set struct {
	whole      xtext.Encoding // a set that takes the value as a whole: UTF-8, GB18030, GBK
	utf8       bool
	undeclared bool       // nothing was declared
	g0, g1     *codeSet   // active at the start of each value and after a delimiter
	extra      []*codeSet // further sets, reached by escape sequences
}

// codeSet is a set of PS3.3 tables C.12-2 to C.12-4 as one code element.
type codeSet struct {
	name   string
	width  int // bytes per character
	decode xtext.Encoding
	prefix []byte // put before each character for the decoder
}

// Code elements. Double-byte ones decode through an EUC form with the high
// bits set.
var (
	setASCII    = &codeSet{name: "ISO-IR 6", width: 1}
	setRomaji   = &codeSet{name: "ISO-IR 14", width: 1}
	setKatakana = &codeSet{name: "ISO-IR 13", width: 1, decode: japanese.ShiftJIS}
	setLatin1   = &codeSet{name: "ISO-IR 100", width: 1, decode: charmap.ISO8859_1}
	setLatin2   = &codeSet{name: "ISO-IR 101", width: 1, decode: charmap.ISO8859_2}
	setLatin3   = &codeSet{name: "ISO-IR 109", width: 1, decode: charmap.ISO8859_3}
	setLatin4   = &codeSet{name: "ISO-IR 110", width: 1, decode: charmap.ISO8859_4}
	setCyrillic = &codeSet{name: "ISO-IR 144", width: 1, decode: charmap.ISO8859_5}
	setArabic   = &codeSet{name: "ISO-IR 127", width: 1, decode: charmap.ISO8859_6}
	setGreek    = &codeSet{name: "ISO-IR 126", width: 1, decode: charmap.ISO8859_7}
	setHebrew   = &codeSet{name: "ISO-IR 138", width: 1, decode: charmap.ISO8859_8}
	setLatin5   = &codeSet{name: "ISO-IR 148", width: 1, decode: charmap.ISO8859_9}
	setLatin9   = &codeSet{name: "ISO-IR 203", width: 1, decode: charmap.ISO8859_15}
	setThai     = &codeSet{name: "ISO-IR 166", width: 1, decode: charmap.Windows874} // TIS 620-2533 and a few more
	setKanji    = &codeSet{name: "ISO-IR 87", width: 2, decode: japanese.EUCJP}
	setKanji2   = &codeSet{name: "ISO-IR 159", width: 2, decode: japanese.EUCJP, prefix: []byte{0x8F}}
	setHangul   = &codeSet{name: "ISO-IR 149", width: 2, decode: korean.EUCKR}
	setHanzi    = &codeSet{name: "ISO-IR 58", width: 2, decode: simplifiedchinese.GBK} // GB 2312 in its EUC form
)

// singleByte maps the number of a defined term to its G1 set.
var singleByte = map[string]*codeSet{
	"6": nil, "100": setLatin1, "101": setLatin2, "109": setLatin3, "110": setLatin4, "144": setCyrillic, "127": setArabic,
	"126": setGreek, "138": setHebrew, "148": setLatin5, "203": setLatin9, "166": setThai, "13": setKatakana,
}

// doubleByte maps the number of a defined term with code extensions to its set.
var doubleByte = map[string]*codeSet{"87": setKanji, "159": setKanji2, "149": setHangul, "58": setHanzi}

// Form is how the value representation of a text treats its characters.
type Form struct {
	Encodable bool // the Specific Character Set applies (PS3.5 6.1.2.2)
	Unsplit   bool // there is one value, in which a backslash is text
	Name      bool // PN: the parts of a name are delimited
}

// Parse reads the defined terms of Specific Character Set, none when it is absent.
// Misspelt ones are understood; the notes say so.
func Parse(terms ...string) (*Set, []string) {
	cs := &Set{g0: setASCII, undeclared: len(terms) == 0 || len(terms) == 1 && terms[0] == ""}
	var notes []string
	for i, raw := range terms {
		number, exact := registration(raw)
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
		case doubleByte[number] != nil:
			if i == 0 {
				notes = append(notes, "multi-byte character set as first value")
			}
			cs.extra = append(cs.extra, doubleByte[number])
		case i == 0:
			cs.g1 = singleByte[number]
			if number == "13" {
				cs.g0 = setRomaji
			}
		case singleByte[number] != nil:
			cs.extra = append(cs.extra, singleByte[number])
		}
	}
	return cs, notes
}

// registration finds the registration number in a defined term, "" when it is
// none. "ISO_IR 100" and "ISO 2022 IR 100" are exact, "ISO-IR 100" is not.
func registration(term string) (number string, exact bool) {
	known := func(n string) bool {
		_, single := singleByte[n]
		return single || doubleByte[n] != nil || n == "192"
	}
	for _, prefix := range []string{"ISO_IR ", "ISO 2022 IR "} {
		if n, ok := strings.CutPrefix(term, prefix); ok && known(n) {
			return n, n != "192" || prefix == "ISO_IR "
		}
	}
	if term == "GB18030" || term == "GBK" {
		return term, true
	}
	squeezed := strings.Map(func(r rune) rune {
		switch r {
		case ' ', '_', '-', '.':
			return -1
		}
		return r
	}, strings.ToUpper(term))
	switch squeezed {
	case "UTF8":
		return "192", false
	case "GB18030", "GBK", "ISO2022GBK", "ISO2022GB18030":
		return strings.TrimPrefix(squeezed, "ISO2022"), false
	case "ASCII", "USASCII":
		return "6", false
	case "LATIN1":
		return "100", false
	}
	for _, prefix := range []string{"ISO2022IR", "ISOIR", "IR"} {
		if n, ok := strings.CutPrefix(squeezed, prefix); ok && known(n) {
			return n, false
		}
	}
	if part, ok := strings.CutPrefix(squeezed, "ISO8859"); ok {
		n := map[string]string{
			"1": "100", "2": "101", "3": "109", "4": "110", "5": "144", "6": "127", "7": "126", "8": "138", "9": "148", "11": "166", "15": "203",
		}[part]
		return n, false
	}
	return "", false
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
func (cs *Set) Plain(form Form) bool { return cs.g0 != setRomaji || !form.Encodable }

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
