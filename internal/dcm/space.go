package dcm

import (
	"compress/flate"
	"io"
	"strings"
	"sync"
)

// space is the memory that a file is read into. Reading one report after another
// takes as much of it as the largest, if each is released.
type space struct {
	names   dictionary
	steps   []step    // to the place being read
	open    []Element // of the levels being read, the deeper ones behind
	items   []Dataset // of the sequences being read
	chunk   []Element // of the levels that were read, each in one piece
	free    []Element // what is left of the chunk
	store   store
	sources []*source

	flate    io.ReadCloser // used again by [space.inflater]
	inflated []byte        // the data set of a deflated file
}

// Bounds of the elements that room is made for at once.
const (
	leastRoom = 64
	mostRoom  = 1 << 15

	mostInflated = 2 << 20 // bytes kept for the next deflated file
)

var spaces = sync.Pool{New: func() any { return &space{} }}

// Release gives back the memory of the data sets, which are not to be used any
// more; what they returned may be, but for data sets. Releasing is not needed, but
// saves most of the memory that reading takes.
func (f *File) Release() {
	s := f.space
	if s == nil {
		return
	}
	f.space, f.Meta, f.Dataset = nil, Dataset{}, Dataset{}
	for _, source := range s.sources {
		*source = source0
	}
	clear(s.sources)
	clear(s.store.made)
	s.sources, s.store.made, s.store.items = s.sources[:0], s.store.made[:0], s.store.items[:0]
	s.steps, s.open, s.items, s.free = s.steps[:0], s.open[:0], s.items[:0], s.chunk
	if again, ok := s.flate.(flate.Resetter); ok && again.Reset(strings.NewReader(""), nil) != nil {
		s.flate = nil
	}
	if cap(s.inflated) > mostInflated {
		s.inflated = nil
	}
	if cap(s.open)+len(s.chunk)+cap(s.store.items) < 4*mostRoom {
		spaces.Put(s)
	}
}

// source0 is what becomes of a source that was released: it keeps no file.
var source0 source

// inflater expands the raw deflate stream (RFC 1951) of src.
func (s *space) inflater(src io.Reader) io.Reader {
	if again, ok := s.flate.(flate.Resetter); !ok || again.Reset(src, nil) != nil {
		s.flate = flate.NewReader(src)
	}
	return s.flate
}

// makeRoom makes room for the elements of a file of the size.
func (s *space) makeRoom(size int64) {
	n := int(max(leastRoom, min(mostRoom, size/20)))
	if len(s.free) < n {
		s.chunk = make([]Element, n)
		s.free = s.chunk
	}
	if cap(s.store.items) < n/4 {
		s.store.items = make([]Dataset, 0, n/4)
	}
}

// take returns what was put on the stack of elements since base, and takes it off.
func (s *space) take(base int) []Element {
	level := s.open[base:]
	n := len(level)
	switch {
	case n == 0:
		return nil
	case n > mostRoom && base == 0: // too long to copy
		s.open = nil
		return level[:n:n]
	case n > len(s.free):
		s.chunk = make([]Element, max(n, min(mostRoom, 2*len(s.chunk))))
		s.free = s.chunk
	}
	out := s.free[:n:n]
	s.free = s.free[n:]
	copy(out, level)
	s.open = s.open[:base]
	return out
}

// source makes a source of this file.
func (s *space) source(bytes []byte, enc encoding) *source {
	out := &source{bytes: bytes, encoding: enc, store: &s.store}
	s.sources = append(s.sources, out)
	return out
}
