package sr

import (
	"encoding/binary"
	"sync"

	"echotally/internal/coding"
	"echotally/internal/dcm"
)

// Code is a coded entry with its canonical identity. Items and documents that have it,
// written in the same way, share it: it is not to be written to.
type Code struct {
	Concept coding.CodedConcept
	Key     coding.Key
}

// codebook keeps the coded entries of the documents read before: the same ones come
// again and again. It is for one document at a time, and has a fixed size: an entry of
// an earlier document gives way to one of a later.
type codebook struct {
	places   [1024]*entry // by placeOf, or close behind
	document uint64       // which of the documents read with it is being read
	codes    int          // how many the last of them had
}

// entry is a coded entry that was read.
type entry struct {
	code     Code
	writing  dcm.Writing // as it lay in its file
	document uint64      // the last that has it
	number   uint32      // in that document
}

// Bounds of what is kept.
const (
	maxProbes   = 8   // how far behind its place an entry may be kept
	longestKept = 512 // bytes of an entry as written; most have some 60
)

var codebooks = sync.Pool{New: func() any { return &codebook{} }}

// coded reads a coded entry, or finds it among those read before.
func (p *parser) coded(d dcm.Dataset) *entry {
	written := d.Written()
	if len(written) == 0 || len(written) > longestKept {
		return p.newEntry(d)
	}
	place := placeOf(written)
	var free **entry
	for i := range uint32(maxProbes) {
		slot := &p.places[(place+i)%uint32(len(p.places))]
		kept := *slot
		if kept == nil {
			free = slot
			break
		}
		if d.Is(&kept.writing) {
			p.number(kept)
			return kept
		}
		if free == nil && kept.document != p.document {
			free = slot
		}
	}
	e := p.newEntry(d)
	if free != nil { // else the report has too many
		e.writing = d.Writing()
		*free = e
	}
	return e
}

func (p *parser) newEntry(d dcm.Dataset) *entry {
	e := &entry{code: Code{Concept: readCode(d)}}
	e.code.Key = e.code.Concept.Key()
	p.number(e)
	return e
}

// number makes the entry one of the document's, unless it is.
func (p *parser) number(e *entry) {
	if e.document == p.document {
		return
	}
	if p.doc.Codes == nil {
		p.doc.Codes = make([]*Code, 0, max(8, p.codes))
	}
	p.doc.Codes = append(p.doc.Codes, &e.code)
	e.document, e.number = p.document, uint32(len(p.doc.Codes))
}

// placeOf spreads coded entries by their length and their end, which is mostly that of
// the meaning.
func placeOf(written []byte) uint32 {
	hash := uint64(len(written))
	if n := len(written); n >= 16 {
		hash = (hash ^ binary.LittleEndian.Uint64(written[n-16:])) * 0x9E3779B97F4A7C15
		hash ^= hash >> 29
		hash = (hash ^ binary.LittleEndian.Uint64(written[n-8:])) * 0xBF58476D1CE4E5B9
		return uint32(hash >> 40)
	}
	for _, c := range written {
		hash = (hash ^ uint64(c)) * 0x100000001B3
	}
	return uint32(hash * 0x9E3779B97F4A7C15 >> 40)
}
