// Package element owns data elements as bytes: an encoder of DICOM files that shares nothing
// with the program that reads them.
package element

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"sort"
)

// Element is one data element; a sequence carries items instead of data.
type Element struct {
	Tag   uint32
	VR    string
	Data  []byte
	items []Dataset
	seq   bool
}

// Dataset is the elements of one level, in any order.
type Dataset []Element

// Encoding holds how one file is written.
type Encoding struct {
	explicit, Undefined, UTF8, Double bool
}

func (e Encoding) text(s string) []byte {
	if e.UTF8 {
		return []byte(s)
	}
	out := make([]byte, 0, len(s))
	for _, r := range s {
		if r > 255 {
			r = '?'
		}
		out = append(out, byte(r)) // ISO_IR 100: code points 0-255
	}
	return out
}

// Text adds an element of text, padded.
func (d *Dataset) Text(e Encoding, tag uint32, vr, s string) {
	b := e.text(s)
	if len(b)%2 == 1 {
		pad := byte(' ')
		if vr == "UI" {
			pad = 0
		}
		b = append(b, pad)
	}
	*d = append(*d, Element{Tag: tag, VR: vr, Data: b})
}

// Sequence adds a sequence.
func (d *Dataset) Sequence(tag uint32, items ...Dataset) {
	*d = append(*d, Element{Tag: tag, VR: "SQ", items: items, seq: true})
}

var longVR = map[string]bool{"SQ": true, "UT": true, "OB": true, "UN": true, "UC": true}

func (e Encoding) header(b *bytes.Buffer, el Element, n uint32) {
	binary.Write(b, binary.LittleEndian, uint16(el.Tag>>16))
	binary.Write(b, binary.LittleEndian, uint16(el.Tag))
	if !e.explicit {
		binary.Write(b, binary.LittleEndian, n)
		return
	}
	b.WriteString(el.VR)
	if longVR[el.VR] {
		b.Write([]byte{0, 0})
		binary.Write(b, binary.LittleEndian, n)
		return
	}
	binary.Write(b, binary.LittleEndian, uint16(n))
}

const (
	undefLen = 0xFFFFFFFF
	tagItem  = 0xFFFEE000
	tagIEnd  = 0xFFFEE00D
	tagSEnd  = 0xFFFEE0DD
)

func raw32(b *bytes.Buffer, tag, n uint32) {
	binary.Write(b, binary.LittleEndian, uint16(tag>>16))
	binary.Write(b, binary.LittleEndian, uint16(tag))
	binary.Write(b, binary.LittleEndian, n)
}

// write encodes a data set with ascending tags.
func (e Encoding) write(ds Dataset) []byte {
	sorted := append(Dataset{}, ds...)
	sort.SliceStable(sorted, func(i, j int) bool { return sorted[i].Tag < sorted[j].Tag })
	var b bytes.Buffer
	for _, el := range sorted {
		if !el.seq {
			e.header(&b, el, uint32(len(el.Data)))
			b.Write(el.Data)
			continue
		}
		body := e.items(el.items)
		if e.Undefined {
			e.header(&b, el, undefLen)
			b.Write(body)
			raw32(&b, tagSEnd, 0)
			continue
		}
		e.header(&b, el, uint32(len(body)))
		b.Write(body)
	}
	return b.Bytes()
}

func (e Encoding) items(items []Dataset) []byte {
	var b bytes.Buffer
	for _, it := range items {
		body := e.write(it)
		if e.Undefined {
			raw32(&b, tagItem, undefLen)
			b.Write(body)
			raw32(&b, tagIEnd, 0)
			continue
		}
		raw32(&b, tagItem, uint32(len(body)))
		b.Write(body)
	}
	return b.Bytes()
}

// Transfer syntaxes.
const (
	Implicit = "1.2.840.10008.1.2"
	Explicit = "1.2.840.10008.1.2.1"
	Deflated = "1.2.840.10008.1.2.1.99"
)

// Part10 wraps a data set into a complete file.
func Part10(e Encoding, ts, class, uid string, ds Dataset) []byte {
	var meta Dataset
	m := Encoding{explicit: true, UTF8: true}
	meta = append(meta, Element{Tag: 0x00020001, VR: "OB", Data: []byte{0, 1}})
	meta.Text(m, 0x00020002, "UI", class)
	meta.Text(m, 0x00020003, "UI", uid)
	meta.Text(m, 0x00020010, "UI", ts)
	meta.Text(m, 0x00020012, "UI", "2.25.40122716220185421003")
	meta.Text(m, 0x00020013, "SH", "INVENTED_WORLD")
	mb := m.write(meta)
	var b bytes.Buffer
	b.Write(make([]byte, 128))
	b.WriteString("DICM")
	m.header(&b, Element{Tag: 0x00020000, VR: "UL"}, 4)
	binary.Write(&b, binary.LittleEndian, uint32(len(mb)))
	b.Write(mb)
	e.explicit = ts != Implicit
	body := e.write(ds)
	if ts == Deflated { // raw RFC 1951 stream, padded to even length
		var z bytes.Buffer
		w, _ := flate.NewWriter(&z, flate.DefaultCompression)
		w.Write(body)
		w.Close()
		body = z.Bytes()
		if len(body)%2 == 1 {
			body = append(body, 0)
		}
	}
	b.Write(body)
	return b.Bytes()
}
