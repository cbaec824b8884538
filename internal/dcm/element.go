package dcm

import (
	"encoding/binary"
	"math"
	"strconv"
	"strings"

	"echotally/internal/charset"
)

// Element is one data element. What was read of a file is not made into values
// before somebody asks for it: the element knows where it lies.
type Element struct {
	Tag  Tag
	vr   vr
	kept kept
	// Of the value: where it begins in what the source keeps of that kind, and its
	// length there.
	offset, length uint32
	source         *source // nil for no value
}

// kept says what a source keeps of an element.
type kept uint8

const (
	inPlace kept = iota // bytes as they lie in the file
	items               // the items of a sequence
	made                // one value: []string, []int, []float64, []byte
)

// source is what elements of one level have in common: the bytes they lie in, and
// how to read them.
type source struct {
	bytes []byte // all of the file, or the values that were held in header reading
	encoding
	set   *charset.Set
	un    *source // of what lies in UN elements, once there is one
	store *store
}

// store is what all sources of a file have in common.
type store struct {
	items []Dataset
	made  []any
	texts texts
}

// VR returns the value representation.
func (e *Element) VR() string { return e.vr.String() }

// raw returns the bytes of a value that lies in a source, nil of another.
func (e *Element) raw() (*source, []byte) {
	if e.source == nil || e.kept != inPlace {
		return nil, nil
	}
	return e.source, e.source.bytes[e.offset:][:e.length]
}

// made returns a value that was made, nil of another.
func (e *Element) made() any {
	if e.source == nil || e.kept != made {
		return nil
	}
	return e.source.store.made[e.offset]
}

// items returns the items of a sequence, nil of another.
func (e *Element) items() []Dataset {
	if e.source == nil || e.kept != items {
		return nil
	}
	end := e.offset + e.length
	return e.source.store.items[e.offset:end:end]
}

// Value returns a copy of what the element holds: []string, []int, []float64,
// []byte or []Dataset, nil for none.
func (e *Element) Value() any {
	s, raw := e.raw()
	kind := &representations[e.vr]
	switch {
	case e.source == nil:
		return nil
	case e.kept == items:
		return e.items()
	case e.kept == made:
		return e.made()
	case kind.text:
		return e.strings()
	case e.vr == vrFL || e.vr == vrFD || e.vr == vrOF || e.vr == vrOD:
		return floats(raw, kind.size, s.encoding)
	case holdsBytes(e.vr):
		return littleEndian(raw, kind.size, s.encoding)
	}
	return integers(e.vr, raw, kind.size, s.encoding)
}

// holdsBytes reports whether a value counts as bytes, not as numbers.
func holdsBytes(v vr) bool {
	switch v {
	case vrOB, vrUN, vrOW, vrOL, vrOV:
		return true
	}
	return false
}

// first returns the first value of a text, or the whole of one that has only one,
// without padding.
func (e *Element) first() string {
	unsplit := representations[e.vr].form.Unsplit
	if s, raw := e.raw(); s != nil {
		if !representations[e.vr].text {
			return ""
		}
		if unsplit {
			return s.store.texts.text(trimRight(raw))
		}
		for i, c := range raw {
			if c == '\\' {
				raw = raw[:i]
				break
			}
		}
		return s.store.texts.text(trim(raw))
	}
	values, _ := e.made().([]string)
	switch {
	case len(values) == 0:
		return ""
	case unsplit:
		return strings.TrimRight(strings.Join(values, `\`), padding)
	}
	return strings.Trim(values[0], padding)
}

// strings returns all values of a text, without padding.
func (e *Element) strings() []string {
	unsplit := representations[e.vr].form.Unsplit
	s, raw := e.raw()
	if s == nil {
		values, _ := e.made().([]string)
		if unsplit && len(values) > 0 {
			values = []string{strings.Join(values, `\`)}
		}
		return append([]string(nil), values...)
	}
	if len(raw) == 0 || !representations[e.vr].text {
		return nil
	}
	if unsplit {
		return []string{s.store.texts.text(trimRight(raw))}
	}
	var out []string
	start := 0
	for i := 0; i <= len(raw); i++ {
		if i == len(raw) || raw[i] == '\\' {
			out = append(out, s.store.texts.text(trim(raw[start:i])))
			start = i + 1
		}
	}
	return out
}

// padding is what stands around a value: blanks, and the NUL of some writers.
const padding = " \x00"

func trimRight(b []byte) []byte {
	for len(b) > 0 && (b[len(b)-1] == ' ' || b[len(b)-1] == 0) {
		b = b[:len(b)-1]
	}
	return b
}

func trim(b []byte) []byte {
	b = trimRight(b)
	for len(b) > 0 && (b[0] == ' ' || b[0] == 0) {
		b = b[1:]
	}
	return b
}

// littleEndian copies a byte value, its words in little endian order.
func littleEndian(raw []byte, size int, enc encoding) []byte {
	out := append([]byte(nil), raw...)
	if enc.bigEndian {
		for i := 0; i+size <= len(out); i += size {
			for a, z := i, i+size-1; a < z; a, z = a+1, z-1 {
				out[a], out[z] = out[z], out[a]
			}
		}
	}
	return out
}

// floats reads FL and FD. A 32-bit number goes through its shortest text, so
// that 0.1 stays 0.1, as in the library.
func floats(raw []byte, size int, enc encoding) []float64 {
	out := make([]float64, 0, len(raw)/size)
	for i := 0; i+size <= len(raw); i += size {
		if size == 8 {
			out = append(out, math.Float64frombits(enc.order().Uint64(raw[i:])))
			continue
		}
		single := math.Float32frombits(enc.order().Uint32(raw[i:]))
		double, err := strconv.ParseFloat(strconv.FormatFloat(float64(single), 'g', -1, 32), 64)
		if err != nil {
			double = float64(single)
		}
		out = append(out, double)
	}
	return out
}

// integers reads the integer VRs; AT gives group and element as two numbers,
// as in the library.
func integers(v vr, raw []byte, size int, enc encoding) []int {
	if size == 0 {
		return nil
	}
	out := make([]int, 0, len(raw)/size)
	order := enc.order()
	for i := 0; i+size <= len(raw); i += size {
		switch v {
		case vrUS, vrAT:
			out = append(out, int(order.Uint16(raw[i:])))
		case vrSS:
			out = append(out, int(int16(order.Uint16(raw[i:]))))
		case vrUL:
			out = append(out, int(order.Uint32(raw[i:])))
		case vrSL:
			out = append(out, int(int32(order.Uint32(raw[i:]))))
		default: // SV, UV
			out = append(out, int(order.Uint64(raw[i:])))
		}
	}
	return out
}

// texts keeps one copy of texts that come again and again, as codes and terms do.
// It has a fixed size: a text that gives way to another is only kept twice.
type texts struct{ kept *[512]string }

// longestKept is the longest text worth looking for.
const longestKept = 64

// text returns the bytes as text that shares nothing with them.
func (t *texts) text(b []byte) string {
	n := len(b)
	if n == 0 {
		return ""
	}
	if n > longestKept {
		return string(b)
	}
	if t.kept == nil {
		t.kept = &[512]string{}
	}
	slot := &t.kept[slotOf(b)]
	if *slot != string(b) {
		*slot = string(b)
	}
	return *slot
}

// slotOf spreads texts by their length and both ends.
func slotOf(b []byte) uint32 {
	n := len(b)
	h := uint64(n)
	if n >= 8 {
		h = (h ^ binary.LittleEndian.Uint64(b)) * 0x9E3779B97F4A7C15
		h ^= h >> 29
		h = (h ^ binary.LittleEndian.Uint64(b[n-8:])) * 0xBF58476D1CE4E5B9
	} else if n >= 4 {
		h = (h<<56 ^ uint64(binary.LittleEndian.Uint32(b))<<24 ^ uint64(binary.LittleEndian.Uint32(b[n-4:]))) * 0x9E3779B97F4A7C15
	} else {
		h = (h<<24 ^ uint64(b[0])<<16 ^ uint64(b[n/2])<<8 ^ uint64(b[n-1])) * 0x9E3779B97F4A7C15
	}
	return uint32(h >> 55)
}
