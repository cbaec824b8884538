package dcm

import (
	"bytes"
	"strconv"
	"strings"
)

// find returns the first element with the tag, nil when there is none.
func (d Dataset) find(t Tag) *Element {
	for i := range d.Elements {
		if d.Elements[i].Tag == t {
			return &d.Elements[i]
		}
	}
	return nil
}

// Written returns the bytes of the data set from its first value to its last as they
// lie in the file, by which two data sets of one file can be told to say the same
// before any value is made; nil when they do not lie there in one piece. They are the
// file's: not to be written to, nor to be kept.
func (d Dataset) Written() []byte {
	n := len(d.Elements)
	if n == 0 {
		return nil
	}
	source := d.Elements[0].source
	for i := range d.Elements {
		if e := &d.Elements[i]; e.kept != inPlace || e.source != source {
			return nil
		}
	}
	last := &d.Elements[n-1]
	if start, end := d.Elements[0].offset, last.offset+last.length; source != nil && start <= end {
		return source.bytes[start:end]
	}
	return nil
}

// Writing is a copy of how a data set lies in its file.
type Writing struct {
	bytes    []byte
	elements []Element
}

// Writing copies a data set that lies in one piece, as [Dataset.Written] tells.
func (d Dataset) Writing() Writing {
	out := Writing{bytes: bytes.Clone(d.Written()), elements: make([]Element, len(d.Elements))}
	for i, e := range d.Elements {
		out.elements[i] = Element{Tag: e.Tag, vr: e.vr, offset: e.offset - d.Elements[0].offset, length: e.length}
	}
	return out
}

// Is reports whether a data set of any file, which lies in one piece, has the same
// elements of the same representations and bytes as the one that was copied. Text that
// lies in its file is plain, so all texts of the two are the same.
func (d Dataset) Is(w *Writing) bool {
	if len(d.Elements) != len(w.elements) {
		return false
	}
	first := d.Elements[0].offset
	for i := range w.elements {
		e, kept := &d.Elements[i], &w.elements[i]
		if e.Tag != kept.Tag || e.vr != kept.vr || e.length != kept.length || e.offset-first != kept.offset {
			return false
		}
	}
	return bytes.Equal(d.Elements[0].source.bytes[first:][:len(w.bytes)], w.bytes)
}

// Has reports whether the element is present (even when empty).
func (d Dataset) Has(t Tag) bool { return d.find(t) != nil }

// VR returns the value representation as read, "" when absent.
func (d Dataset) VR(t Tag) string {
	if e := d.find(t); e != nil {
		return e.VR()
	}
	return ""
}

// Text returns the value of LT, ST, UT, UR unsplit, or the first value of other
// string elements, trimmed of padding; "" when absent.
func (d Dataset) Text(t Tag) string {
	if e := d.find(t); e != nil {
		return e.first()
	}
	return ""
}

// UID returns the value of a UI element, "" when it is absent or no identifier: of
// other characters than letters, digits, dots and hyphens, or longer than 128. The
// standard allows digits and dots, 64 of them (PS3.5 9.1).
func (d Dataset) UID(t Tag) string {
	uid := d.Text(t)
	if len(uid) > 128 {
		return ""
	}
	for _, c := range []byte(uid) {
		if !(c >= '0' && c <= '9' || c == '.' || c == '-' || c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z') {
			return ""
		}
	}
	return uid
}

// Values returns how many values [Dataset.Texts] gives.
func (d Dataset) Values(t Tag) int {
	if e := d.find(t); e != nil {
		if s, raw := e.raw(); s != nil && representations[e.vr].text && !representations[e.vr].form.Unsplit && bytes.IndexByte(raw, '\\') < 0 {
			return min(len(trim(raw)), 1)
		}
	}
	return len(d.Texts(t))
}

// Texts returns all values of a string element, trimmed; nil when it is absent
// or empty.
func (d Dataset) Texts(t Tag) []string {
	e := d.find(t)
	if e == nil {
		return nil
	}
	out := e.strings()
	for i := range out {
		out[i] = strings.Trim(out[i], padding) // also at the start of a long text
	}
	if len(out) == 0 || len(out) == 1 && out[0] == "" {
		return nil
	}
	return out
}

// Ints returns the values of an integer element (US, UL, SS, SL, SV, UV, and IS
// parsed; values of IS that are no integer are left out). An AT value counts as
// two numbers, group and element.
func (d Dataset) Ints(t Tag) []int64 {
	e := d.find(t)
	if e == nil {
		return nil
	}
	var out []int64
	switch values := e.Value().(type) {
	case []int:
		for _, v := range values {
			out = append(out, int64(v))
		}
	case []string:
		for _, v := range values {
			if n, err := strconv.ParseInt(strings.TrimPrefix(strings.Trim(v, padding), "+"), 10, 64); err == nil {
				out = append(out, n)
			}
		}
	}
	return out
}

// Floats returns the values of FD, FL, OD, OF elements (not DS: use Texts).
func (d Dataset) Floats(t Tag) []float64 {
	if e := d.find(t); e != nil {
		values, _ := e.Value().([]float64)
		return append([]float64(nil), values...)
	}
	return nil
}

// Bytes returns the value of OB, OW, OL, OV and UN elements, words in little
// endian order; nil when absent.
func (d Dataset) Bytes(t Tag) []byte {
	if e := d.find(t); e != nil {
		values, _ := e.Value().([]byte)
		return append([]byte(nil), values...)
	}
	return nil
}

// Sequence returns the items of a sequence element, nil when absent. They are the
// data set's own: not to be written to.
func (d Dataset) Sequence(t Tag) []Dataset {
	if e := d.find(t); e != nil && e.length > 0 {
		return e.items()
	}
	return nil
}
