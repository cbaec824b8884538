package world

import (
	"encoding/binary"
	"math"
	"strconv"

	"echotally/internal/world/element"
)

// node is one content item of the SR tree.
type node struct {
	rel, vt string
	name    Code
	text    string // TEXT, PNAME, DATE, UIDREF value or the DS of a NUM
	code    Code   // CODE value
	unit    Code
	qual    *Code
	kids    []*node
	id      string // identity shared by twins; empty if of no interest
	it      *item
}

func container(rel string, name Code, kids ...*node) *node {
	return &node{rel: rel, vt: "CONTAINER", name: name, kids: kids}
}

func codeNode(rel string, name, val Code) *node {
	return &node{rel: rel, vt: "CODE", name: name, code: val}
}

func textNode(rel string, name Code, s string) *node {
	return &node{rel: rel, vt: "TEXT", name: name, text: s}
}

func numNode(rel string, name Code, val, ucum, meaning string) *node {
	return &node{rel: rel, vt: "NUM", name: name, text: val, unit: Code{ucum, "UCUM", meaning}}
}

func (n *node) add(kids ...*node) *node {
	for _, k := range kids {
		if k != nil {
			n.kids = append(n.kids, k)
		}
	}
	return n
}

func (n *node) as(id string) *node {
	n.id = id
	return n
}

// walk visits every node with its position (1-based child numbers).
func (n *node) walk(path string, f func(path string, n *node)) {
	f(path, n)
	for i, k := range n.kids {
		k.walk(path+"."+strconv.Itoa(i+1), f)
	}
}

const mod, prop, cont, obsCtx, inferred = "HAS CONCEPT MOD", "HAS PROPERTIES", "CONTAINS", "HAS OBS CONTEXT", "INFERRED FROM"

// codeItem encodes one code; meanings are cut to the 64 characters of LO.
func codeItem(e element.Encoding, c Code) element.Dataset {
	var d element.Dataset
	m := []rune(c.Meaning)
	if len(m) > 64 {
		m = m[:64]
	}
	d.Text(e, 0x00080100, "SH", c.Value)
	d.Text(e, 0x00080102, "SH", c.Scheme)
	d.Text(e, 0x00080104, "LO", string(m))
	return d
}

// encodeNode turns a node into its data set (PS3.3 C.17.3, C.18).
func encodeNode(e element.Encoding, n *node) element.Dataset {
	var d element.Dataset
	if n.rel != "" {
		d.Text(e, 0x0040A010, "CS", n.rel)
	}
	d.Text(e, 0x0040A040, "CS", n.vt)
	d.Sequence(0x0040A043, codeItem(e, n.name))
	switch n.vt {
	case "CONTAINER":
		d.Text(e, 0x0040A050, "CS", "SEPARATE")
	case "TEXT":
		d.Text(e, 0x0040A160, "UT", n.text)
	case "PNAME":
		d.Text(e, 0x0040A123, "PN", n.text)
	case "DATE":
		d.Text(e, 0x0040A121, "DA", n.text)
	case "IMAGE":
		d.Sequence(0x00081199, imageRef(e, n.text))
	case "UIDREF":
		d.Text(e, 0x0040A124, "UI", n.text)
	case "CODE":
		d.Sequence(0x0040A168, codeItem(e, n.code))
	case "NUM":
		encodeNum(e, n, &d)
	}
	if len(n.kids) > 0 {
		var items []element.Dataset
		for _, k := range n.kids {
			items = append(items, encodeNode(e, k))
		}
		d.Sequence(0x0040A730, items...)
	}
	return d
}

const sopUSMultiframe = "1.2.840.10008.5.1.4.1.1.3.1"

func imageRef(e element.Encoding, u string) element.Dataset {
	var ref element.Dataset
	ref.Text(e, 0x00081150, "UI", sopUSMultiframe)
	ref.Text(e, 0x00081155, "UI", u)
	return ref
}

func encodeNum(e element.Encoding, n *node, d *element.Dataset) {
	if n.text == "" { // no value: empty sequence, reason in the qualifier
		d.Sequence(0x0040A300)
	} else {
		var mv element.Dataset
		mv.Text(e, 0x0040A30A, "DS", n.text)
		if f, err := strconv.ParseFloat(n.text, 64); err == nil && e.Double {
			var b [8]byte
			binary.LittleEndian.PutUint64(b[:], math.Float64bits(f))
			mv = append(mv, element.Element{Tag: 0x0040A161, VR: "FD", Data: b[:]})
		}
		mv.Sequence(0x004008EA, codeItem(e, n.unit))
		d.Sequence(0x0040A300, mv)
	}
	if n.qual != nil {
		d.Sequence(0x0040A301, codeItem(e, *n.qual))
	}
}
