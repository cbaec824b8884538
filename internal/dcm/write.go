package dcm

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/suyashkumar/dicom"
)

// implementationClass identifies what wrote the file (PS3.7 D.3.3.2): a UID
// derived from a random UUID (PS3.5 B.2), so that it needs no registered root.
const (
	implementationClass = "2.25.159928694546466566389949385881548068070"
	implementationName  = "ECHOTALLY"
)

// Write writes a Part 10 file in Explicit VR Little Endian with the library's
// writer; elements are sorted by tag at each level first, text is UTF-8 and
// declared so. A data set that the standard's lengths do not admit is refused
// before the first byte.
func Write(w io.Writer, d Dataset) error { return write(w, d, ExplicitVRLittleEndian) }

// WriteImplicit is [Write] in Implicit VR Little Endian, as older devices send.
func WriteImplicit(w io.Writer, d Dataset) error { return write(w, d, ImplicitVRLittleEndian) }

func write(w io.Writer, d Dataset, transferSyntax string) error {
	body, err := writable(d, nil)
	if err != nil {
		return fmt.Errorf("write DICOM: %w", err)
	}
	class, instance := d.Text(tagSOPClass), d.Text(tagSOPInstance)
	if class == "" || instance == "" {
		return fmt.Errorf("write DICOM: SOP Class UID %s or SOP Instance UID %s missing", TagText(tagSOPClass), TagText(tagSOPInstance))
	}
	all := []*dicom.Element{
		Private(T(0x00020001), "OB", []byte{0, 1}),
		Strings(tagMediaClass, class),
		Strings(T(0x00020003), instance),
		Strings(tagTransferSyntax, transferSyntax),
		Strings(T(0x00020012), implementationClass),
		Strings(T(0x00020013), implementationName),
	}
	if err := dicom.Write(w, dicom.Dataset{Elements: append(all, body...)}); err != nil {
		return fmt.Errorf("write DICOM: %w", err)
	}
	return nil
}

// writable returns a sorted copy of the elements that the library's writer
// writes rightly, or says which element cannot be written.
func writable(d Dataset, path []string) ([]*dicom.Element, error) {
	if len(path) > maxDepth {
		return nil, fmt.Errorf("sequences nested deeper than %d", maxDepth)
	}
	out := make([]*dicom.Element, 0, len(d.Elements)+1)
	for _, e := range d.Elements {
		if e == nil || e.Tag.Group == 0x0002 || e.Tag == tagCharacterSet {
			continue
		}
		where := append(slices.Clip(path), TagText(e.Tag))
		checked, err := writableElement(e, where)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", strings.Join(where, "/"), err)
		}
		out = append(out, checked)
	}
	if len(path) == 0 {
		out = append(out, Strings(tagCharacterSet, "ISO_IR 192"))
	}
	slices.SortStableFunc(out, func(a, b *dicom.Element) int { return a.Tag.Compare(b.Tag) })
	for i := 1; i < len(out); i++ {
		if out[i].Tag == out[i-1].Tag {
			return nil, fmt.Errorf("%s: twice in one data set", TagText(out[i].Tag))
		}
	}
	return out, nil
}

func writableElement(e *dicom.Element, where []string) (*dicom.Element, error) {
	h := elementHeader{tag: e.Tag, vr: e.RawValueRepresentation}
	if e.Value == nil {
		return nil, fmt.Errorf("no value")
	}
	switch data := e.Value.GetValue().(type) {
	case []string:
		if err := checkText(h.vr, data); err != nil {
			return nil, err
		}
		return newElement(h, data), nil
	case []*dicom.SequenceItemValue:
		if h.vr != "SQ" {
			return nil, fmt.Errorf("items in an element of VR %s", h.vr)
		}
		var lists [][]*dicom.Element
		for _, item := range (Dataset{Elements: []*dicom.Element{e}}).Sequence(e.Tag) {
			list, err := writable(item, where)
			if err != nil {
				return nil, err
			}
			lists = append(lists, list)
		}
		return newElement(h, lists), nil
	case []byte:
		if e.Tag == tagPixelData {
			if len(data)%2 == 1 {
				data = append(slices.Clip(data), 0)
			}
			return newElement(h, dicom.PixelDataInfo{IntentionallyUnprocessed: true, UnprocessedValueData: data}), nil
		}
		if h.vr != "OB" && h.vr != "OW" && h.vr != "UN" {
			return nil, fmt.Errorf("the writer has no bytes for VR %s", h.vr)
		}
		return newElement(h, data), nil
	case []int:
		return e, checkNumbers(h.vr, len(data), "US", "SS", "UL", "SL", "AT")
	case []float64:
		return e, checkNumbers(h.vr, len(data), "FL", "FD")
	}
	return nil, fmt.Errorf("a value of a kind that cannot be written")
}

func checkNumbers(vr string, n int, allowed ...string) error {
	if !slices.Contains(allowed, vr) {
		return fmt.Errorf("the writer has no such numbers for VR %s", vr)
	}
	if size := n * wordSize(vr); size > 0xFFFE {
		return fmt.Errorf("%d bytes, more than the 65534 that VR %s can hold", size, vr)
	}
	return nil
}

// maxChars is the most characters one value of a VR may have (PS3.5 table
// 6.2-1); for PN each component group.
var maxChars = map[string]int{
	"AE": 16, "AS": 4, "CS": 16, "DA": 8, "DS": 16, "DT": 26, "IS": 12, "LO": 64, "LT": 10240,
	"PN": 64, "SH": 16, "ST": 1024, "TM": 14, "UI": 64,
}

func checkText(vr string, values []string) error {
	if !shortForm[vr] && vr != "UC" && vr != "UR" && vr != "UT" || wordSize(vr) != 0 {
		return fmt.Errorf("text in an element of VR %s", vr)
	}
	total := max(len(values)-1, 0)
	for _, v := range values {
		total += len(v)
		if !utf8.ValidString(v) {
			return fmt.Errorf("text that is not UTF-8")
		}
		if strings.Contains(v, `\`) && !unsplit[vr] {
			return fmt.Errorf("backslash in a value of VR %s", vr)
		}
		parts := []string{v}
		if vr == "PN" {
			parts = strings.Split(v, "=")
		}
		for _, part := range parts {
			if n := utf8.RuneCountInString(part); maxChars[vr] > 0 && n > maxChars[vr] {
				return fmt.Errorf("%d characters, more than the %d of VR %s", n, maxChars[vr], vr)
			}
		}
	}
	if shortForm[vr] && total > 0xFFFE {
		return fmt.Errorf("%d bytes, more than the 65534 that VR %s can hold", total, vr)
	}
	return nil
}
