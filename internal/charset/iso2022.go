package charset

import (
	"bytes"
	"slices"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/japanese"
	"golang.org/x/text/transform"

	"echotally/internal/charset/repertoire"
)

const escape = 0x1B

// maxRun bounds what waits for decoding, and with it the memory for it.
const maxRun = 4096

// extended decodes a value that may switch code elements (PS3.5 6.1.2.5).
func (cs *Set) extended(form Form, raw []byte) (string, string) {
	d := iso2022{cs: cs, form: form, g0: cs.g0, g1: cs.g1}
	size := len(raw)
	for _, c := range raw {
		if c >= 0x80 {
			size += 2 // at most three bytes of UTF-8
		}
	}
	d.out.Grow(size)
	for len(raw) > 0 {
		raw = raw[d.step(raw):]
	}
	d.flush()
	return d.out.String(), d.note
}

// iso2022 is the state of decoding one element.
type iso2022 struct {
	cs     *Set
	form   Form
	g0, g1 *repertoire.Set
	out    strings.Builder
	note   string

	run    []byte // bytes of one set that wait for decoding
	runSet *repertoire.Set
	utf8   []byte // the run decoded
}

// step takes one character, delimiter or escape sequence and returns its length.
func (d *iso2022) step(raw []byte) int {
	c := raw[0]
	switch {
	case c == escape:
		return d.designate(raw)
	case c < 0x20 || d.g0.Width == 1 && d.delimits(c):
		// The sets of the first value are active again behind a delimiter
		// and before any control character (PS3.5 6.1.2.5.3).
		d.flush()
		d.g0, d.g1 = d.cs.g0, d.cs.g1
		d.out.WriteByte(c)
		return 1
	case c < 0x80 && d.g0.Width == 2:
		if len(raw) < 2 || raw[1] < 0x21 || raw[1] > 0x7E || c == 0x20 {
			d.flush()
			if c == 0x20 {
				d.out.WriteByte(c)
			} else {
				d.replace()
			}
			return 1
		}
		d.add(d.g0, c|0x80, raw[1]|0x80)
		return 2
	case c < 0x80:
		d.flush()
		d.out.WriteRune(d.low(c))
		return 1
	}
	return d.high(raw)
}

// delimits reports whether the byte separates values or parts of names.
func (d *iso2022) delimits(c byte) bool {
	return c == '\\' && !d.form.Unsplit || d.form.Name && (c == '^' || c == '=')
}

// low maps a byte of a single-byte G0 set. Romaji differs from ASCII in two
// places, outside of delimiters.
func (d *iso2022) low(c byte) rune {
	if d.g0 == repertoire.Romaji && d.form.Encodable {
		switch c {
		case '\\':
			return '¥'
		case '~':
			return '‾'
		}
	}
	return rune(c)
}

// high takes a character with the high bit set.
func (d *iso2022) high(raw []byte) int {
	set := d.g1
	if set == nil {
		if set = d.declaredG1(); set != nil {
			d.remark(noteUnescaped)
		}
	}
	switch {
	case set == nil:
		d.flush()
		d.replace()
		return 1
	case set == repertoire.Katakana && (raw[0] < 0xA1 || raw[0] > 0xDF):
		if len(raw) > 1 && raw[1] >= 0x40 { // the lead byte of a Shift-JIS kanji
			d.flush()
			s, note := decodeWith(japanese.ShiftJIS, raw[:2])
			d.out.WriteString(s)
			d.remark(noteShiftJIS)
			d.remark(note)
			return 2
		}
		d.flush()
		d.replace()
		return 1
	case set.Width == 1:
		d.add(set, raw[0])
		return 1
	case len(raw) < 2 || raw[1] < 0xA1:
		d.flush()
		d.replace()
		return 1
	}
	d.add(set, raw[0], raw[1])
	return 2
}

// declaredG1 is the set meant by high bytes without an escape sequence: the
// only declared one that lives in G1.
func (d *iso2022) declaredG1() *repertoire.Set {
	var found *repertoire.Set
	for _, s := range d.cs.extra {
		if s == repertoire.Kanji || s == repertoire.SupplementaryKanji {
			continue
		}
		if found != nil {
			return nil
		}
		found = s
	}
	return found
}

// designate takes an escape sequence.
func (d *iso2022) designate(raw []byte) int {
	d.flush()
	n := 1
	for n < len(raw) && raw[n] >= 0x20 && raw[n] <= 0x2F {
		n++
	}
	if n == len(raw) || raw[n] < 0x30 || raw[n] > 0x7E {
		d.replace()
		return n
	}
	set, g0 := repertoire.Designated(string(raw[1 : n+1]))
	if set == nil {
		d.replace()
		return n + 1
	}
	if !d.declared(set) {
		d.remark(noteEscape)
	}
	if g0 {
		d.g0 = set
	} else {
		d.g1 = set
	}
	return n + 1
}

func (d *iso2022) declared(set *repertoire.Set) bool {
	switch set {
	case repertoire.ASCII, d.cs.g0, d.cs.g1:
		return true
	case repertoire.Romaji:
		set = repertoire.Katakana
	}
	return slices.Contains(d.cs.extra, set)
}

// add keeps a character for decoding together with its neighbours.
func (d *iso2022) add(set *repertoire.Set, char ...byte) {
	if d.runSet != set || len(d.run) > maxRun {
		d.flush()
		d.runSet = set
	}
	d.run = append(append(d.run, set.Prefix...), char...)
}

func (d *iso2022) flush() {
	if len(d.run) == 0 {
		return
	}
	decoded, _, err := transform.Append(d.runSet.Decode.NewDecoder(), d.utf8[:0], d.run)
	if err != nil {
		d.replace() // cannot happen: these decoders replace
	}
	if bytes.ContainsRune(decoded, utf8.RuneError) {
		d.remark(noteReplaced)
	}
	d.out.Write(decoded)
	d.utf8 = decoded
	d.run, d.runSet = d.run[:0], nil
}

func (d *iso2022) replace() {
	d.out.WriteRune(utf8.RuneError)
	d.remark(noteReplaced)
}

// remark keeps the first note, and lets lost bytes win over understood ones.
func (d *iso2022) remark(note string) {
	if note != "" && (d.note == "" || note == noteReplaced) {
		d.note = note
	}
}
