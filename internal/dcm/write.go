package dcm

import (
	"encoding/binary"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/tag"

	"echotally/internal/identifier"
)

// Write writes a Part 10 file in Explicit VR Little Endian with the library's
// writer; elements are sorted by tag at each level first, text is UTF-8 and
// declared so. A data set that the standard's lengths do not admit is refused
// before the first byte.
func Write(w io.Writer, d Dataset) error { return write(w, d, ExplicitVRLittleEndian) }

// WriteImplicit is [Write] in Implicit VR Little Endian, as older devices send.
func WriteImplicit(w io.Writer, d Dataset) error { return write(w, d, ImplicitVRLittleEndian) }

// WriteDataset writes a data set alone, without preamble and file meta information, as
// it goes over the network. The transfer syntax is Explicit or Implicit VR Little
// Endian; otherwise it is [Write].
func WriteDataset(w io.Writer, d Dataset, transferSyntax string) error {
	if transferSyntax != ExplicitVRLittleEndian && transferSyntax != ImplicitVRLittleEndian {
		return fmt.Errorf("write DICOM: no writer for transfer syntax %s", transferSyntax)
	}
	body, err := writable(d, nil)
	if err != nil {
		return fmt.Errorf("write DICOM: %w", err)
	}
	to, err := dicom.NewWriter(w)
	if err != nil {
		return fmt.Errorf("write DICOM: %w", err)
	}
	to.SetTransferSyntax(binary.LittleEndian, transferSyntax == ImplicitVRLittleEndian)
	for _, e := range body {
		if err := to.WriteElement(e); err != nil {
			return fmt.Errorf("write DICOM: %w", err)
		}
	}
	return nil
}

func write(w io.Writer, d Dataset, transferSyntax string) error {
	body, err := writable(d, nil)
	if err != nil {
		return fmt.Errorf("write DICOM: %w", err)
	}
	class, instance := d.Text(tagSOPClass), d.Text(tagSOPInstance)
	if class == "" || instance == "" {
		return fmt.Errorf("write DICOM: SOP Class UID %s or SOP Instance UID %s missing", tagSOPClass, tagSOPInstance)
	}
	var all []*dicom.Element
	for _, e := range []Element{
		Private(T(0x00020001), "OB", []byte{0, 1}),
		Strings(tagMediaClass, class),
		Strings(T(0x00020003), instance),
		Strings(tagTransferSyntax, transferSyntax),
		Strings(T(0x00020012), identifier.ImplementationClass),
		Strings(T(0x00020013), identifier.ImplementationName),
	} {
		all = append(all, libraryElement(&e, e.made()))
	}
	if err := dicom.Write(w, dicom.Dataset{Elements: append(all, body...)}); err != nil {
		return fmt.Errorf("write DICOM: %w", err)
	}
	return nil
}

// writable returns a sorted copy of the elements that the library's writer
// writes rightly, or says which element cannot be written.
func writable(d Dataset, path []Tag) ([]*dicom.Element, error) {
	if len(path) > maxDepth {
		return nil, fmt.Errorf("sequences nested deeper than %d", maxDepth)
	}
	out := make([]*dicom.Element, 0, len(d.Elements)+1)
	for i := range d.Elements {
		e := &d.Elements[i]
		if e.Tag.Group == 0x0002 || e.Tag == tagCharacterSet {
			continue
		}
		where := append(slices.Clip(path), e.Tag)
		checked, err := writableElement(e, where)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", joined(where), err)
		}
		out = append(out, checked)
	}
	if len(path) == 0 {
		charset := Strings(tagCharacterSet, "ISO_IR 192")
		out = append(out, libraryElement(&charset, charset.made()))
	}
	slices.SortStableFunc(out, func(a, b *dicom.Element) int { return a.Tag.Compare(b.Tag) })
	for i := 1; i < len(out); i++ {
		if out[i].Tag == out[i-1].Tag {
			return nil, fmt.Errorf("%s: twice in one data set", Tag(out[i].Tag))
		}
	}
	return out, nil
}

// joined names a place in nested data sets.
func joined(path []Tag) string {
	names := make([]string, len(path))
	for i, t := range path {
		names[i] = t.String()
	}
	return strings.Join(names, "/")
}

func writableElement(e *Element, where []Tag) (*dicom.Element, error) {
	switch data := e.Value().(type) {
	case nil:
		return nil, fmt.Errorf("no value")
	case []string:
		if err := checkText(e.vr, data); err != nil {
			return nil, err
		}
		return libraryElement(e, append([]string{}, data...)), nil
	case []Dataset:
		if e.vr != vrSQ {
			return nil, fmt.Errorf("items in an element of VR %s", e.vr)
		}
		lists := [][]*dicom.Element{}
		for _, item := range data {
			list, err := writable(item, where)
			if err != nil {
				return nil, err
			}
			lists = append(lists, list)
		}
		return libraryElement(e, lists), nil
	case []byte:
		if e.Tag == tagPixelData {
			if len(data)%2 == 1 {
				data = append(slices.Clip(data), 0)
			}
			return libraryElement(e, dicom.PixelDataInfo{IntentionallyUnprocessed: true, UnprocessedValueData: data}), nil
		}
		if e.vr != vrOB && e.vr != vrOW && e.vr != vrUN {
			return nil, fmt.Errorf("the writer has no bytes for VR %s", e.vr)
		}
		return libraryElement(e, data), nil
	case []int:
		return libraryElement(e, data), checkNumbers(e.vr, len(data), vrUS, vrSS, vrUL, vrSL, vrAT)
	case []float64:
		return libraryElement(e, data), checkNumbers(e.vr, len(data), vrFL, vrFD)
	}
	return nil, fmt.Errorf("a value of a kind that cannot be written")
}

// libraryElement puts a value into the library's element; data is of a type that
// its NewValue takes.
func libraryElement(e *Element, data any) *dicom.Element {
	value, err := dicom.NewValue(data)
	if err != nil {
		value, _ = dicom.NewValue([]byte(nil)) // cannot happen, see above
	}
	return &dicom.Element{
		Tag: tag.Tag(e.Tag), ValueRepresentation: tag.GetVRKind(tag.Tag(e.Tag), e.VR()), RawValueRepresentation: e.VR(), Value: value,
	}
}

func checkNumbers(v vr, n int, allowed ...vr) error {
	if !slices.Contains(allowed, v) {
		return fmt.Errorf("the writer has no such numbers for VR %s", v)
	}
	if size := n * representations[v].size; size > 0xFFFE {
		return fmt.Errorf("%d bytes, more than the 65534 that VR %s can hold", size, v)
	}
	return nil
}

// maxChars is the most characters one value of a VR may have (PS3.5 table
// 6.2-1); for PN each component group.
var maxChars = map[vr]int{
	vrAE: 16, vrAS: 4, vrCS: 16, vrDA: 8, vrDS: 16, vrDT: 26, vrIS: 12, vrLO: 64, vrLT: 10240,
	vrPN: 64, vrSH: 16, vrST: 1024, vrTM: 14, vrUI: 64,
}

func checkText(v vr, values []string) error {
	kind := representations[v]
	if !kind.text {
		return fmt.Errorf("text in an element of VR %s", v)
	}
	total := max(len(values)-1, 0)
	for _, value := range values {
		total += len(value)
		if !utf8.ValidString(value) {
			return fmt.Errorf("text that is not UTF-8")
		}
		if strings.Contains(value, `\`) && !kind.form.Unsplit {
			return fmt.Errorf("backslash in a value of VR %s", v)
		}
		parts := []string{value}
		if kind.form.Name {
			parts = strings.Split(value, "=")
		}
		for _, part := range parts {
			if n := utf8.RuneCountInString(part); maxChars[v] > 0 && n > maxChars[v] {
				return fmt.Errorf("%d characters, more than the %d of VR %s", n, maxChars[v], v)
			}
		}
	}
	if !kind.long && total > 0xFFFE {
		return fmt.Errorf("%d bytes, more than the 65534 that VR %s can hold", total, v)
	}
	return nil
}
