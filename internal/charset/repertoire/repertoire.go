// Package repertoire owns the character repertoires that DICOM registers: under which
// defined terms and escape sequences each is known, how wide its characters are, and
// what decodes them (PS3.3 tables C.12-2 to C.12-4). It reads no text.
package repertoire

import (
	"strings"

	xtext "golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/japanese"
	"golang.org/x/text/encoding/korean"
	"golang.org/x/text/encoding/simplifiedchinese"
)

// Set is a set of PS3.3 tables C.12-2 to C.12-4 as one code element.
type Set struct {
	name   string
	Width  int // bytes per character
	Decode xtext.Encoding
	Prefix []byte // put before each character for the decoder
}

// Code elements. Double-byte ones decode through an EUC form with the high
// bits set.
var (
	ASCII              = &Set{name: "ISO-IR 6", Width: 1}
	Romaji             = &Set{name: "ISO-IR 14", Width: 1}
	Katakana           = &Set{name: "ISO-IR 13", Width: 1, Decode: japanese.ShiftJIS}
	latin1             = &Set{name: "ISO-IR 100", Width: 1, Decode: charmap.ISO8859_1}
	latin2             = &Set{name: "ISO-IR 101", Width: 1, Decode: charmap.ISO8859_2}
	latin3             = &Set{name: "ISO-IR 109", Width: 1, Decode: charmap.ISO8859_3}
	latin4             = &Set{name: "ISO-IR 110", Width: 1, Decode: charmap.ISO8859_4}
	cyrillic           = &Set{name: "ISO-IR 144", Width: 1, Decode: charmap.ISO8859_5}
	arabic             = &Set{name: "ISO-IR 127", Width: 1, Decode: charmap.ISO8859_6}
	greek              = &Set{name: "ISO-IR 126", Width: 1, Decode: charmap.ISO8859_7}
	hebrew             = &Set{name: "ISO-IR 138", Width: 1, Decode: charmap.ISO8859_8}
	latin5             = &Set{name: "ISO-IR 148", Width: 1, Decode: charmap.ISO8859_9}
	latin9             = &Set{name: "ISO-IR 203", Width: 1, Decode: charmap.ISO8859_15}
	thai               = &Set{name: "ISO-IR 166", Width: 1, Decode: charmap.Windows874} // TIS 620-2533 and a few more
	Kanji              = &Set{name: "ISO-IR 87", Width: 2, Decode: japanese.EUCJP}
	SupplementaryKanji = &Set{name: "ISO-IR 159", Width: 2, Decode: japanese.EUCJP, Prefix: []byte{0x8F}}
	hangul             = &Set{name: "ISO-IR 149", Width: 2, Decode: korean.EUCKR}
	hanzi              = &Set{name: "ISO-IR 58", Width: 2, Decode: simplifiedchinese.GBK} // GB 2312 in its EUC form
)

// singleByte maps the number of a defined term to its G1 set.
var singleByte = map[string]*Set{
	"6": nil, "100": latin1, "101": latin2, "109": latin3, "110": latin4, "144": cyrillic, "127": arabic,
	"126": greek, "138": hebrew, "148": latin5, "203": latin9, "166": thai, "13": Katakana,
}

// doubleByte maps the number of a defined term with code extensions to its set.
var doubleByte = map[string]*Set{"87": Kanji, "159": SupplementaryKanji, "149": hangul, "58": hanzi}

// Registration finds the registration number in a defined term, "" when it is
// none. "ISO_IR 100" and "ISO 2022 IR 100" are exact, "ISO-IR 100" is not.
func Registration(term string) (number string, exact bool) {
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

// escapes maps what follows ESC to the code element it designates and whether
// that is G0 (PS3.3 tables C.12-3 and C.12-4).
var escapes = map[string]struct {
	set *Set
	g0  bool
}{
	"(B": {ASCII, true}, "(J": {Romaji, true}, ")I": {Katakana, false},
	"-A": {latin1, false}, "-B": {latin2, false}, "-C": {latin3, false}, "-D": {latin4, false},
	"-L": {cyrillic, false}, "-G": {arabic, false}, "-F": {greek, false}, "-H": {hebrew, false},
	"-M": {latin5, false}, "-b": {latin9, false}, "-T": {thai, false},
	"$B": {Kanji, true}, "$(D": {SupplementaryKanji, true}, "$)C": {hangul, false}, "$)A": {hanzi, false},
	"$@": {Kanji, true}, // JIS C 6226-1978, read as its successor
}

// SingleByte is the G1 set with the number of a defined term; nil when there is
// none, and for ISO-IR 6, which has no G1.
func SingleByte(number string) *Set { return singleByte[number] }

// DoubleByte is the double-byte set with the number of a defined term; nil when
// there is none.
func DoubleByte(number string) *Set { return doubleByte[number] }

// Designated is the set that an escape sequence designates, ESC left out, and
// whether it becomes G0; nil when no sequence of DICOM is like that.
func Designated(sequence string) (set *Set, g0 bool) {
	e := escapes[sequence]
	return e.set, e.g0
}
