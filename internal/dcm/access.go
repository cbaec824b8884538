package dcm

import (
	"strconv"
	"strings"

	"github.com/suyashkumar/dicom"
)

// find returns the first element with the tag, nil when there is none.
func (d Dataset) find(t Tag) *dicom.Element {
	for _, e := range d.Elements {
		if e != nil && e.Tag == t {
			return e
		}
	}
	return nil
}

// content returns what the value of an element holds, nil when there is none.
func (d Dataset) content(t Tag) any {
	if e := d.find(t); e != nil && e.Value != nil {
		return e.Value.GetValue()
	}
	return nil
}

// Has reports whether the element is present (even when empty).
func (d Dataset) Has(t Tag) bool { return d.find(t) != nil }

// VR returns the value representation as read, "" when absent.
func (d Dataset) VR(t Tag) string {
	if e := d.find(t); e != nil {
		return e.RawValueRepresentation
	}
	return ""
}

// Text returns the value of LT, ST, UT, UR unsplit, or the first value of other
// string elements, trimmed of padding; "" when absent.
func (d Dataset) Text(t Tag) string {
	values, _ := d.content(t).([]string)
	switch {
	case len(values) == 0:
		return ""
	case unsplit[d.VR(t)]:
		return strings.TrimRight(strings.Join(values, `\`), " \x00")
	}
	return strings.Trim(values[0], " \x00")
}

// Texts returns all values of a string element, trimmed; nil when it is absent
// or empty.
func (d Dataset) Texts(t Tag) []string {
	values, _ := d.content(t).([]string)
	if unsplit[d.VR(t)] && len(values) > 0 {
		values = []string{strings.Join(values, `\`)}
	}
	out := make([]string, 0, len(values))
	for _, v := range values {
		out = append(out, strings.Trim(v, " \x00"))
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
	var out []int64
	switch values := d.content(t).(type) {
	case []int:
		for _, v := range values {
			out = append(out, int64(v))
		}
	case []string:
		for _, v := range values {
			if n, err := strconv.ParseInt(strings.TrimPrefix(strings.Trim(v, " \x00"), "+"), 10, 64); err == nil {
				out = append(out, n)
			}
		}
	}
	return out
}

// Floats returns the values of FD, FL, OD, OF elements (not DS: use Texts).
func (d Dataset) Floats(t Tag) []float64 {
	values, _ := d.content(t).([]float64)
	return append([]float64(nil), values...)
}

// Bytes returns the value of OB, OW, OL, OV and UN elements, words in little
// endian order; nil when absent.
func (d Dataset) Bytes(t Tag) []byte {
	values, _ := d.content(t).([]byte)
	return append([]byte(nil), values...)
}

// Sequence returns the items of a sequence element, nil when absent.
func (d Dataset) Sequence(t Tag) []Dataset {
	items, _ := d.content(t).([]*dicom.SequenceItemValue)
	out := make([]Dataset, 0, len(items))
	for _, item := range items {
		if item == nil {
			continue
		}
		elements, _ := item.GetValue().([]*dicom.Element)
		out = append(out, Dataset{Elements: elements})
	}
	if len(out) == 0 {
		return nil
	}
	return out
}
