// Package dcmtest is test support: data sets written as files in any encoding,
// also in those that package dcm refuses or has no form for.
package dcmtest

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"math"
	"slices"
	"strings"

	"echotally/internal/dcm"
)

// Encoding says how [Encode] lays out a file. The zero value is a Part 10 file
// in Explicit VR Little Endian with undefined lengths.
type Encoding struct {
	TransferSyntax string // one of the four of package dcm; "" is explicit little endian
	DefinedLengths bool   // sequences and items state their length
	NoPreamble     bool
	NoMeta         bool   // no preamble and no file meta information either
	CharacterSet   string // what (0008,0005) declares; "" leaves the data set's own. Text is written as it is.
}

// Encode writes a data set as asked, without checking anything: tests need
// files that the writer of package dcm refuses or has no form for. It orders
// elements by tag and writes text byte for byte.
func Encode(d dcm.Dataset, how Encoding) []byte {
	syntax := how.TransferSyntax
	if syntax == "" {
		syntax = dcm.ExplicitVRLittleEndian
	}
	if how.CharacterSet != "" {
		d = dcm.New(slices.Clone(d.Elements)...)
		d.Set(dcm.Strings(dcm.T(0x00080005), strings.Split(how.CharacterSet, `\`)...))
	}
	e := encoder{defined: how.DefinedLengths, order: binary.LittleEndian}
	e.implicit = syntax == dcm.ImplicitVRLittleEndian
	if syntax == dcm.ExplicitVRBigEndian {
		e.order = binary.BigEndian
	}
	body := e.dataset(nil, d)
	if syntax == dcm.DeflatedExplicitVRLittleEndian {
		body = deflate(body)
	}
	var out []byte
	if !how.NoPreamble && !how.NoMeta {
		out = append(make([]byte, 128), "DICM"...)
	}
	if !how.NoMeta {
		out = append(out, metaHeader(d, syntax)...)
	}
	return append(out, body...)
}

func metaHeader(d dcm.Dataset, syntax string) []byte {
	meta := encoder{order: binary.LittleEndian}
	group := meta.dataset(nil, dcm.New(
		dcm.Private(dcm.T(0x00020001), "OB", []byte{0, 1}),
		dcm.Strings(dcm.T(0x00020002), d.Text(dcm.T(0x00080016))),
		dcm.Strings(dcm.T(0x00020003), d.Text(dcm.T(0x00080018))),
		dcm.Strings(dcm.T(0x00020010), syntax),
		dcm.Strings(dcm.T(0x00020012), "2.25.7"),
	))
	return append(meta.dataset(nil, dcm.New(dcm.Ints(dcm.T(0x00020000), len(group)))), group...)
}

func deflate(b []byte) []byte {
	var out bytes.Buffer
	w, err := flate.NewWriter(&out, flate.BestCompression)
	if err != nil {
		panic(err) // the level is a constant
	}
	w.Write(b) // a bytes.Buffer takes everything
	w.Close()
	if out.Len()%2 == 1 {
		out.WriteByte(0)
	}
	return out.Bytes()
}

type encoder struct {
	implicit bool
	defined  bool
	order    binary.AppendByteOrder
}

func (e encoder) tag(b []byte, t dcm.Tag) []byte {
	return e.order.AppendUint16(e.order.AppendUint16(b, t.Group), t.Element)
}

func (e encoder) dataset(b []byte, d dcm.Dataset) []byte {
	elements := slices.Clone(d.Elements)
	slices.SortStableFunc(elements, func(a, b dcm.Element) int { return a.Tag.Compare(b.Tag) })
	for i := range elements {
		b = e.element(b, &elements[i])
	}
	return b
}

const undefined = 0xFFFFFFFF

func (e encoder) element(b []byte, el *dcm.Element) []byte {
	vr := el.VR()
	if vr == "SQ" {
		return e.sequence(b, el)
	}
	value := e.value(vr, el.Value())
	if len(value)%2 == 1 {
		pad := byte(' ')
		if vr == "UI" || vr == "OB" || vr == "UN" {
			pad = 0
		}
		value = append(value, pad)
	}
	return append(e.header(b, el.Tag, vr, uint32(len(value))), value...)
}

func (e encoder) header(b []byte, t dcm.Tag, vr string, length uint32) []byte {
	b = e.tag(b, t)
	switch {
	case e.implicit:
		return e.order.AppendUint32(b, length)
	case strings.Contains("OB OD OF OL OV OW SQ SV UC UN UR UT UV", vr):
		return e.order.AppendUint32(append(b, vr[0], vr[1], 0, 0), length)
	default:
		return e.order.AppendUint16(append(b, vr[0], vr[1]), uint16(length))
	}
}

func (e encoder) sequence(b []byte, el *dcm.Element) []byte {
	item, itemEnd, sequenceEnd := dcm.T(0xFFFEE000), dcm.T(0xFFFEE00D), dcm.T(0xFFFEE0DD)
	var body []byte
	for _, d := range dcm.New(*el).Sequence(el.Tag) {
		content := e.dataset(nil, d)
		body = e.tag(body, item)
		if e.defined {
			body = append(e.order.AppendUint32(body, uint32(len(content))), content...)
			continue
		}
		body = append(e.order.AppendUint32(body, undefined), content...)
		body = e.order.AppendUint32(e.tag(body, itemEnd), 0)
	}
	if e.defined {
		return append(e.header(b, el.Tag, "SQ", uint32(len(body))), body...)
	}
	b = append(e.header(b, el.Tag, "SQ", undefined), body...)
	return e.order.AppendUint32(e.tag(b, sequenceEnd), 0)
}

func (e encoder) value(vr string, data any) []byte {
	var b []byte
	switch values := data.(type) {
	case []string:
		return []byte(strings.Join(values, `\`))
	case []byte:
		b = slices.Clone(values)
		if size := map[string]int{"OW": 2, "OL": 4, "OV": 8}[vr]; e.order == binary.AppendByteOrder(binary.BigEndian) && size > 0 {
			for word := range slices.Chunk(b, size) {
				slices.Reverse(word)
			}
		}
	case []int:
		for _, v := range values {
			switch vr {
			case "US", "SS", "AT":
				b = e.order.AppendUint16(b, uint16(v))
			case "UL", "SL":
				b = e.order.AppendUint32(b, uint32(v))
			default:
				b = e.order.AppendUint64(b, uint64(v))
			}
		}
	case []float64:
		for _, v := range values {
			if vr == "FL" || vr == "OF" {
				b = e.order.AppendUint32(b, math.Float32bits(float32(v)))
			} else {
				b = e.order.AppendUint64(b, math.Float64bits(v))
			}
		}
	}
	return b
}
