package world

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"sort"
)

// elem is one data element; a sequence carries items instead of data.
type elem struct {
	tag   uint32
	vr    string
	data  []byte
	items []dataset
	seq   bool
}

type dataset []elem

// enc holds how one file is written.
type enc struct {
	explicit, undef, utf8, fd bool
}

func (e enc) text(s string) []byte {
	if e.utf8 {
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

func (d *dataset) str(e enc, tag uint32, vr, s string) {
	b := e.text(s)
	if len(b)%2 == 1 {
		pad := byte(' ')
		if vr == "UI" {
			pad = 0
		}
		b = append(b, pad)
	}
	*d = append(*d, elem{tag: tag, vr: vr, data: b})
}

func (d *dataset) sq(tag uint32, items ...dataset) {
	*d = append(*d, elem{tag: tag, vr: "SQ", items: items, seq: true})
}

var longVR = map[string]bool{"SQ": true, "UT": true, "OB": true, "UN": true, "UC": true}

func (e enc) header(b *bytes.Buffer, el elem, n uint32) {
	binary.Write(b, binary.LittleEndian, uint16(el.tag>>16))
	binary.Write(b, binary.LittleEndian, uint16(el.tag))
	if !e.explicit {
		binary.Write(b, binary.LittleEndian, n)
		return
	}
	b.WriteString(el.vr)
	if longVR[el.vr] {
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
func (e enc) write(ds dataset) []byte {
	sorted := append(dataset{}, ds...)
	sort.SliceStable(sorted, func(i, j int) bool { return sorted[i].tag < sorted[j].tag })
	var b bytes.Buffer
	for _, el := range sorted {
		if !el.seq {
			e.header(&b, el, uint32(len(el.data)))
			b.Write(el.data)
			continue
		}
		body := e.items(el.items)
		if e.undef {
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

func (e enc) items(items []dataset) []byte {
	var b bytes.Buffer
	for _, it := range items {
		body := e.write(it)
		if e.undef {
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

// part10 wraps a data set into a complete file.
func part10(e enc, ts, class, uid string, ds dataset) []byte {
	var meta dataset
	m := enc{explicit: true, utf8: true}
	meta = append(meta, elem{tag: 0x00020001, vr: "OB", data: []byte{0, 1}})
	meta.str(m, 0x00020002, "UI", class)
	meta.str(m, 0x00020003, "UI", uid)
	meta.str(m, 0x00020010, "UI", ts)
	meta.str(m, 0x00020012, "UI", "2.25.40122716220185421003")
	meta.str(m, 0x00020013, "SH", "INVENTED_WORLD")
	mb := m.write(meta)
	var b bytes.Buffer
	b.Write(make([]byte, 128))
	b.WriteString("DICM")
	m.header(&b, elem{tag: 0x00020000, vr: "UL"}, 4)
	binary.Write(&b, binary.LittleEndian, uint32(len(mb)))
	b.Write(mb)
	e.explicit = ts != tsImplicit
	body := e.write(ds)
	if ts == tsDeflated { // raw RFC 1951 stream, padded to even length
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
