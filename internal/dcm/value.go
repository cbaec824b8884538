package dcm

import (
	"math"
	"strconv"
	"strings"
	"unicode"

	"echotally/internal/charset"
	"echotally/internal/printable"
)

// Limits of header reading.
const (
	maxHeaderValue = 64 << 10 // a longer value is stepped over
	maxHeaderBytes = 16 << 20 // all values together
)

// source returns what the elements of a data set have in common that starts here.
func (w *walker) source(enc encoding) *source {
	s := w.space.source(w.in.mem, enc)
	s.set, _ = charset.Parse()
	return s
}

// inUN returns the source of what lies in UN elements of s.
func (w *walker) inUN(s *source) *source {
	if s.un == nil {
		s.un = w.space.source(w.in.mem, implicitLittle)
		s.un.set = s.set
	}
	return s.un
}

// putMade puts an element with a value made already on the stack.
func (w *walker) putMade(h elementHeader, s *source, value any) {
	w.open = append(w.open, Element{Tag: h.tag, vr: h.vr, kept: made, offset: uint32(len(s.store.made)), length: 1, source: s})
	s.store.made = append(s.store.made, value)
}

// putEmpty puts an element whose value is not read on the stack.
func (w *walker) putEmpty(h elementHeader) {
	w.open = append(w.open, Element{Tag: h.tag, vr: h.vr})
}

// putItems puts a sequence on the stack, and the items above base off theirs.
func (w *walker) putItems(h elementHeader, s *source, base int) {
	list := w.items[base:]
	w.open = append(w.open, Element{Tag: h.tag, vr: vrSQ, kept: items, offset: uint32(len(s.store.items)), length: uint32(len(list)), source: s})
	s.store.items = append(s.store.items, list...)
	clear(list)
	w.items = w.items[:base]
}

// value puts an element of defined length on the stack. Its value stays where it
// is, unless it has characters to be decoded; what is wrong with it is said now.
func (w *walker) value(h elementHeader, b bound, s *source) error {
	length := int64(h.length)
	if length > b.end-w.pos {
		return w.tooLong(h, b, w.path(h.tag))
	}
	if w.header {
		if length > maxHeaderValue {
			w.skipped = append(w.skipped, Loss{
				Offset: h.start, TagPath: w.path(h.tag),
				Reason: "value of " + strconv.FormatInt(length, 10) + " bytes, too long for header reading" + w.where,
			})
			w.pos += length
			w.putEmpty(h)
			return nil
		}
		if w.room -= length; w.room < 0 {
			return w.broken(h.start, w.path(h.tag), "more than %d bytes of values before the pixel data", maxHeaderBytes)
		}
	}
	var raw []byte
	var err error
	if w.in.mem != nil {
		raw = w.in.mem[w.pos : w.pos+length] // within b, and so within the file
	} else if raw, err = w.in.slice(w.pos, length); err != nil {
		return err
	}
	offset := w.pos
	w.pos += length
	if length%2 == 1 {
		w.deviation(w.path(h.tag), "PS3.5 7.1.1", "odd value length")
	}
	var value any
	if representations[h.vr].text {
		value, err = w.text(h, raw, s.set)
	} else {
		raw, value, err = w.numbers(h, raw, s)
	}
	if err != nil {
		return err
	}
	if value != nil {
		w.putMade(h, s, value)
		return nil
	}
	if w.in.mem == nil { // the window moves on
		offset = int64(len(s.bytes))
		s.bytes = append(s.bytes, raw...)
	}
	w.open = append(w.open, Element{Tag: h.tag, vr: h.vr, offset: uint32(offset), length: uint32(len(raw)), source: s})
	return nil
}

// numbers checks a value that is no text and returns the part of it that holds
// whole numbers or words, and the value when it has to be made now.
func (w *walker) numbers(h elementHeader, raw []byte, s *source) ([]byte, any, error) {
	size := representations[h.vr].size
	if rest := len(raw) % size; rest != 0 {
		w.deviation(w.path(h.tag), "PS3.5 6.2", "length %d is no multiple of %d; %d bytes not used", len(raw), size, rest)
		raw = raw[:len(raw)-rest]
	}
	if holdsBytes(h.vr) {
		return raw, nil, nil
	}
	if h.vr == vrUV {
		for i := 0; i < len(raw); i += 8 {
			if s.order().Uint64(raw[i:]) > math.MaxInt64 {
				w.deviation(w.path(h.tag), "PS3.5 6.2", "number beyond 63 bits; kept as bytes")
				return raw, littleEndian(raw, size, s.encoding), nil
			}
		}
	}
	return raw, nil, w.count(len(raw)/size, h)
}

// misstated puts an element on the stack that the dictionary calls a text and the
// file a number or bytes: as text when it reads as one, else as the number written
// out.
func (w *walker) misstated(h elementHeader, b bound, s *source, known vr) error {
	stated := h.vr
	if int64(h.length) > b.end-w.pos || w.header && h.length > maxHeaderValue {
		return w.value(h, b, s) // says so
	}
	raw, err := w.in.slice(w.pos, int64(h.length))
	if err != nil {
		return err
	}
	w.deviation(w.path(h.tag), "PS3.6 6", "a text of VR %s sent as %s", known, stated)
	if holdsBytes(stated) || readable(raw) {
		h.vr = known
		return w.value(h, b, s)
	}
	if err := w.value(h, b, s); err != nil {
		return err
	}
	e := &w.open[len(w.open)-1]
	var texts []string
	switch values := e.Value().(type) {
	case []float64:
		for _, v := range values {
			texts = append(texts, strconv.FormatFloat(v, 'g', -1, 64))
		}
	case []int:
		for _, v := range values {
			texts = append(texts, strconv.Itoa(v))
		}
	}
	if len(texts) == 0 && h.length > 0 {
		w.lost(w.path(h.tag), "a text sent as "+stated.String()+" that does not read as one")
	}
	w.open = w.open[:len(w.open)-1]
	h.vr = known
	w.putMade(h, s, texts)
	return nil
}

// readable reports whether the bytes are printable ASCII, as numbers seldom are.
func readable(raw []byte) bool {
	raw = trimRight(raw)
	for _, c := range raw {
		if c < 0x20 || c >= 0x7F {
			return false
		}
	}
	return len(raw) > 0
}

// text checks a text and decodes it when it is not plain ASCII; nil says that it
// is. Splitting comes after decoding: the byte of the backslash is part of
// characters in several multi-byte sets.
func (w *walker) text(h elementHeader, raw []byte, set *charset.Set) (any, error) {
	kind := &representations[h.vr]
	if ordinary(raw) && set.Plain(kind.form) {
		return nil, nil
	}
	plain, delimiters := true, 0
	for i, c := range raw {
		if c == '\\' {
			delimiters++
		} else if c >= 0x7F || c < 0x20 && !(c == 0 && pads(raw, i)) && !(kind.form.Unsplit && layout(rune(c))) {
			plain = false
		}
	}
	if delimiters > 0 && !kind.form.Unsplit {
		if err := w.count(delimiters, h); err != nil {
			return nil, err
		}
	}
	if plain && set.Plain(kind.form) {
		return nil, nil
	}
	s, note := set.Decode(kind.form, raw)
	if note != "" {
		w.deviation(w.path(h.tag), "PS3.5 6.1.2", "%s", note)
	}
	s = w.shown(h, s, kind.form.Unsplit)
	if kind.form.Unsplit {
		return []string{strings.TrimRight(s, padding)}, nil
	}
	values := strings.Split(s, `\`)
	for i, v := range values {
		values[i] = strings.Trim(v, padding)
	}
	return values, nil
}

// ordinary reports whether a text is printable ASCII without a delimiter, but for one
// NUL that pads it, as nearly all are.
func ordinary(raw []byte) bool {
	if n := len(raw); n > 0 && raw[n-1] == 0 {
		raw = raw[:n-1]
	}
	var other uint8
	for _, c := range raw {
		other |= special[c]
	}
	return other == 0
}

// special marks the bytes that need a closer look in a text.
var special = func() (out [256]uint8) {
	for c := range out {
		if c < 0x20 || c >= 0x7F || c == '\\' {
			out[c] = 1
		}
	}
	return out
}()

// layout reports whether a control character may stand in a text of several lines
// (PS3.5 6.1.3).
func layout(r rune) bool { return r == '\n' || r == '\r' || r == '\t' || r == '\f' }

// shown replaces what would act on a screen instead of being shown, but for the NUL
// that pads: no text of a file brings it any further.
func (w *walker) shown(h elementHeader, s string, lines bool) string {
	if !strings.ContainsFunc(s, printable.Unsafe) {
		return s
	}
	var out strings.Builder
	replaced := 0
	for i, r := range s {
		if printable.Unsafe(r) && !(r == 0 && pads(s, i)) && !(lines && layout(r)) {
			replaced++
			r = unicode.ReplacementChar
		}
		out.WriteRune(r)
	}
	if replaced == 0 {
		return s
	}
	w.deviation(w.path(h.tag), "PS3.5 6.1.3", "%d control characters that may not stand here; each became U+FFFD", replaced)
	return out.String()
}

// pads reports whether a NUL stands where padding is taken off: before the end of a
// value, or at its start.
func pads[T string | []byte](s T, i int) bool {
	return i+1 == len(s) || i == 0 || s[i+1] == 0 || s[i+1] == ' ' || s[i+1] == '\\' || s[i-1] == '\\' || s[i-1] == 0
}

// characterSet returns the source of the elements behind a Specific Character Set.
func (w *walker) characterSet(e *Element, s *source) *source {
	set, notes := charset.Parse(Dataset{Elements: []Element{*e}}.Texts(tagCharacterSet)...)
	for _, note := range notes {
		w.deviation(w.path(tagCharacterSet), "PS3.3 C.12.1.1.2", "%s", note)
	}
	out := w.space.source(w.in.mem, s.encoding)
	out.set = set
	return out
}
