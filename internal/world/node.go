package world

import (
	"encoding/binary"
	"math"
	"strconv"
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
func codeItem(e enc, c Code) dataset {
	var d dataset
	m := []rune(c.Meaning)
	if len(m) > 64 {
		m = m[:64]
	}
	d.str(e, 0x00080100, "SH", c.Value)
	d.str(e, 0x00080102, "SH", c.Scheme)
	d.str(e, 0x00080104, "LO", string(m))
	return d
}

// encodeNode turns a node into its data set (PS3.3 C.17.3, C.18).
func encodeNode(e enc, n *node) dataset {
	var d dataset
	if n.rel != "" {
		d.str(e, 0x0040A010, "CS", n.rel)
	}
	d.str(e, 0x0040A040, "CS", n.vt)
	d.sq(0x0040A043, codeItem(e, n.name))
	switch n.vt {
	case "CONTAINER":
		d.str(e, 0x0040A050, "CS", "SEPARATE")
	case "TEXT":
		d.str(e, 0x0040A160, "UT", n.text)
	case "PNAME":
		d.str(e, 0x0040A123, "PN", n.text)
	case "DATE":
		d.str(e, 0x0040A121, "DA", n.text)
	case "IMAGE":
		d.sq(0x00081199, imageRef(e, n.text))
	case "UIDREF":
		d.str(e, 0x0040A124, "UI", n.text)
	case "CODE":
		d.sq(0x0040A168, codeItem(e, n.code))
	case "NUM":
		encodeNum(e, n, &d)
	}
	if len(n.kids) > 0 {
		var items []dataset
		for _, k := range n.kids {
			items = append(items, encodeNode(e, k))
		}
		d.sq(0x0040A730, items...)
	}
	return d
}

const sopUSMultiframe = "1.2.840.10008.5.1.4.1.1.3.1"

func imageRef(e enc, u string) dataset {
	var ref dataset
	ref.str(e, 0x00081150, "UI", sopUSMultiframe)
	ref.str(e, 0x00081155, "UI", u)
	return ref
}

func encodeNum(e enc, n *node, d *dataset) {
	if n.text == "" { // no value: empty sequence, reason in the qualifier
		d.sq(0x0040A300)
	} else {
		var mv dataset
		mv.str(e, 0x0040A30A, "DS", n.text)
		if f, err := strconv.ParseFloat(n.text, 64); err == nil && e.fd {
			var b [8]byte
			binary.LittleEndian.PutUint64(b[:], math.Float64bits(f))
			mv = append(mv, elem{tag: 0x0040A161, vr: "FD", data: b[:]})
		}
		mv.sq(0x004008EA, codeItem(e, n.unit))
		d.sq(0x0040A300, mv)
	}
	if n.qual != nil {
		d.sq(0x0040A301, codeItem(e, *n.qual))
	}
}
