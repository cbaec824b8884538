package dcm

import "slices"

// Limits that keep a hostile file from using more than its size and a constant.
const (
	maxDepth = 64      // nested sequences; real reports need a dozen
	maxParts = 1 << 20 // elements, items and single values in one file

	maxLosses = 1000 // listed of one file
)

// walker reads the elements of one data set. It believes no length before it
// has held it against the bytes that are left.
type walker struct {
	in     *input
	damage error          // the deflated stream ended in this
	where  string         // appended to reasons, when offsets are not those of the file
	stop   func(Tag) bool // ends the walk before a top-level element; may be nil

	header  bool           // skip long values
	room    int64          // bytes of values that header reading may still hold
	skipped []Loss         // values it left out
	wanted  func(Tag) bool // of the data set itself, the only elements to read; nil for all

	pos   int64
	parts int // used up, of maxParts

	*space

	pixelData      int64 // offset of the pixel data element, -1
	losses         []Loss
	deviations     []Deviation
	moreDeviations int
}

// bound is the room that a data set, sequence or item has.
type bound struct {
	end        int64
	open       bool // end is the end of the file and nobody declared it: reaching further is a cut
	unfinished bool // a delimiter or declared bytes are missing when the walk arrives at end
	delimited  bool // a delimiter closes it
	top        bool // the data set itself
}

// declared returns the bound of length bytes from the current position inside b;
// last names the element when it is not yet part of the path.
func (w *walker) declared(b bound, length uint32, last ...Tag) (bound, error) {
	if length == undefinedLength {
		return bound{end: b.end, open: b.open, unfinished: true, delimited: true}, nil
	}
	end := w.pos + int64(length)
	if end <= b.end {
		return bound{end: end}, nil
	}
	if b.open {
		return bound{end: b.end, open: true, unfinished: true}, nil
	}
	return bound{}, w.broken(w.pos, w.path(last...), "%d bytes declared, %d left in the parent", length, b.end-w.pos)
}

// short is the fault for a bound that ends where more had to come.
func (w *walker) short(b bound, path string) error {
	if b.open {
		return w.cut(w.pos, path, "file ends here, inside an element, item or sequence that is not closed")
	}
	return w.broken(w.pos, path, "the parent ends here, but a nested item or sequence is not closed")
}

// elementHeader is the start of an element: tag, VR and length.
type elementHeader struct {
	tag    Tag
	vr     vr
	length uint32
	start  int64 // offset of the tag
}

// next reads the header at the current position and moves behind it. At least
// 8 bytes are left in b.
func (w *walker) next(b bound, enc encoding) (elementHeader, error) {
	raw, err := w.in.peek(w.pos, min(12, b.end-w.pos))
	if err != nil {
		return elementHeader{}, err
	}
	return w.headerIn(raw, b, enc)
}

// headerIn is next for bytes at hand.
func (w *walker) headerIn(raw []byte, b bound, enc encoding) (elementHeader, error) {
	h := elementHeader{tag: Tag{Group: enc.uint16(raw), Element: enc.uint16(raw[2:])}, start: w.pos}
	if h.tag.Group == 0xFFFE {
		h.length = enc.uint32(raw[4:])
		w.pos += 8
		return h, nil
	}
	if enc.implicit {
		h.vr, h.length = w.names.vr(h.tag), enc.uint32(raw[4:])
		w.pos += 8
		return h, nil
	}
	h.vr = vrOf(raw[4], raw[5])
	switch {
	case h.vr == vrNone:
		return w.oddHeader(h, raw, b, enc)
	case !representations[h.vr].long:
		h.length = uint32(enc.uint16(raw[6:]))
		w.pos += 8
	case len(raw) < 12:
		return h, w.short(bound{open: b.open}, w.path(h.tag))
	default:
		h.length = enc.uint32(raw[8:])
		w.pos += 12
	}
	return h, nil
}

// oddHeader reads an explicit header whose VR is none of the standard's: it
// tries the lengths it may have and takes the first behind which the data go
// on sensibly.
func (w *walker) oddHeader(h elementHeader, raw []byte, b bound, enc encoding) (elementHeader, error) {
	upper := raw[4] >= 'A' && raw[4] <= 'Z' && raw[5] >= 'A' && raw[5] <= 'Z'
	printable := raw[4] >= 0x20 && raw[4] < 0x7F && raw[5] >= 0x20 && raw[5] < 0x7F
	type layout struct {
		size   int64
		length uint32
		what   string
	}
	short := layout{8, uint32(enc.uint16(raw[6:])), "read with a 16-bit length"}
	implicit := layout{8, enc.uint32(raw[4:]), "read as an implicit VR element"}
	var tries []layout
	if upper && len(raw) == 12 && raw[6] == 0 && raw[7] == 0 {
		tries = append(tries, layout{12, enc.uint32(raw[8:]), "read with a 32-bit length"})
	}
	if printable {
		tries = append(tries, short, implicit)
	} else {
		tries = append(tries, implicit, short)
	}
	for _, try := range tries {
		ok, err := w.goesOn(h.tag, w.pos+try.size, try.length, b, enc)
		if err != nil {
			return h, err
		}
		if ok {
			h.vr, h.length = w.names.vr(h.tag), try.length
			w.pos += try.size
			w.deviation(w.path(h.tag), "PS3.5 7.1.2", "unknown value representation; %s", try.what)
			return h, nil
		}
	}
	return h, w.broken(h.start, w.path(h.tag), "no value representation and no length that fits")
}

// goesOn reports whether a value of this length at offset is followed by the
// end of the parent or by a later element.
func (w *walker) goesOn(t Tag, offset int64, length uint32, b bound, enc encoding) (bool, error) {
	if length == undefinedLength {
		raw, err := w.in.peek(offset, 4)
		return err == nil && len(raw) == 4 && enc.uint16(raw) == 0xFFFE, err
	}
	end := offset + int64(length)
	if end >= b.end-3 {
		return end == b.end, nil
	}
	raw, err := w.in.peek(end, 4)
	if err != nil || len(raw) < 4 {
		return false, err
	}
	after := Tag{Group: enc.uint16(raw), Element: enc.uint16(raw[2:])}
	return after.Uint32() > t.Uint32(), nil
}

// level reads a data set or an item up to the end of b. With an error it returns
// what was complete before.
func (w *walker) level(b bound, s *source) ([]Element, error) {
	base, disordered := len(w.open), false
	err := w.fill(b, s, base, &disordered)
	if disordered {
		w.repeated(w.open[base:])
	}
	return w.space.take(base), err
}

// fill puts the elements up to the end of b on the stack.
func (w *walker) fill(b bound, s *source, base int, disordered *bool) (err error) {
	var last uint32
	for {
		if w.pos == b.end {
			if b.unfinished {
				return w.short(b, w.path())
			}
			return nil
		}
		var raw []byte
		if end := w.pos + 12; w.in.mem != nil && end <= b.end {
			raw = w.in.mem[w.pos:end] // as peek does, at less cost
		} else if raw, err = w.in.peek(w.pos, min(12, b.end-w.pos)); err != nil {
			return err
		}
		if len(raw) < 8 || tagless(raw) {
			if done, err := w.padding(b); done || err != nil {
				return err
			}
		}
		h, err := w.headerIn(raw, b, s.encoding)
		if err != nil {
			return err
		}
		if h.tag.Group == 0xFFFE {
			if closed, err := w.delimiter(h, b); closed || err != nil {
				return err
			}
			continue
		}
		if b.top && (isPixelData(h.tag) || (w.stop != nil && w.stop(h.tag))) {
			w.pos = h.start
			if isPixelData(h.tag) {
				w.pixels(h)
			}
			return nil
		}
		if number := h.tag.Uint32(); number > last || len(w.open) == base {
			last = number
		} else {
			w.outOfOrder(h, disordered)
			last = number
		}
		if b.top && w.wanted != nil && !w.wanted(h.tag) && h.length != undefinedLength {
			if int64(h.length) > b.end-w.pos {
				return w.tooLong(h, b, w.path(h.tag))
			}
			w.pos += int64(h.length)
			continue
		}
		if err := w.element(h, b, s); err != nil {
			return err
		}
		if h.tag == tagCharacterSet {
			s = w.characterSet(&w.open[len(w.open)-1], s)
		}
	}
}

// outOfOrder says once per level that elements are out of order or repeated.
func (w *walker) outOfOrder(h elementHeader, said *bool) {
	if !*said {
		*said = true
		w.deviation(w.path(h.tag), "PS3.5 7.1", "elements out of order or repeated; the first of equal ones counts")
	}
}

// repeated notes what of a content tree stands in the second of equal elements of
// one level: nobody reads it.
func (w *walker) repeated(level []Element) {
	inTree := len(w.steps) > 0 && w.steps[0].tag == tagContentSequence
	tags := make([]Tag, 0, len(level))
	for i := range level {
		if inTree || level[i].Tag == tagContentSequence {
			tags = append(tags, level[i].Tag)
		}
	}
	slices.SortFunc(tags, Tag.Compare)
	for i := 1; i < len(tags); i++ {
		if tags[i] == tags[i-1] && (i == 1 || tags[i] != tags[i-2]) {
			w.lost(w.path(tags[i]), "the element stands here more than once; only the first is read")
		}
	}
}

// lost notes a part of the content that is not read, up to a number of such parts.
func (w *walker) lost(path, reason string) {
	if len(w.losses) < maxLosses {
		w.losses = append(w.losses, Loss{Offset: -1, TagPath: path, Reason: reason + w.where})
	}
}

// delimiter handles an item or delimiter tag among elements; closed says that
// it ends the item.
func (w *walker) delimiter(h elementHeader, b bound) (closed bool, err error) {
	switch {
	case h.tag == tagItemDelimiter && b.delimited:
		if h.length != 0 {
			w.deviation(w.path(h.tag), "PS3.5 7.5.1", "item delimiter with a length; the length is ignored")
		}
		return true, nil
	case (h.tag == tagItemDelimiter || h.tag == tagSequenceDelimiter) && h.length == 0 && !b.delimited:
		w.deviation(w.path(h.tag), "PS3.5 7.5.1", "stray delimiter where the length is defined; skipped")
		return false, nil
	default:
		return false, w.broken(h.start, w.path(h.tag), "item or delimiter where an element belongs")
	}
}

// tagless reports whether no tag can stand at the start of these 8 bytes: all are
// 00, or FF.
func tagless(raw []byte) bool {
	return allAre(raw[:8], 0x00) || allAre(raw[:8], 0xFF)
}

// padding says whether the rest of b, in which no element begins, is filler after
// a complete data set.
func (w *walker) padding(b bound) (bool, error) {
	left := b.end - w.pos
	rest, err := w.in.peek(w.pos, min(left, windowSize))
	if err != nil {
		return false, err
	}
	if b.top && len(rest) > 0 {
		fill := rest[0]
		if (fill == 0x00 || fill == 0xFF || fill == '\n' || fill == '\r' || fill == 0x1A) && allAre(rest, fill) {
			w.deviation("", "PS3.10 7.2", "%d bytes of padding after the data set", left)
			w.pos = b.end
			return true, nil
		}
	}
	if left >= 8 {
		return false, w.broken(w.pos, w.path(), "no element tag where one belongs")
	}
	return false, w.short(b, w.path())
}

func allAre(b []byte, x byte) bool {
	for _, c := range b {
		if c != x {
			return false
		}
	}
	return true
}

// pixels notes where the pixel data are and whether the file still holds them.
func (w *walker) pixels(h elementHeader) {
	w.pixelData = h.start
	if h.length != undefinedLength && w.pos+int64(h.length) > w.in.size {
		w.losses = append(w.losses, Loss{
			Offset: h.start, TagPath: h.tag.String(),
			Reason: "file ends inside the pixel data; the header is complete" + w.where,
		})
	}
}

// element puts the element behind the header on the stack. A sequence that the end
// of the file cuts is put there with its complete content items, beside the error.
func (w *walker) element(h elementHeader, b bound, s *source) error {
	if w.parts++; w.parts > maxParts {
		return w.tooMany(h)
	}
	if representations[h.vr].text && h.length != undefinedLength && (s.implicit || w.names.vr(h.tag) != vrSQ) {
		return w.value(h, b, s) // as nearly all
	}
	if h.vr == vrUN && !s.implicit {
		// PS3.5 6.2.2: what is inside UN is implicit little endian.
		outer := s
		s = w.inUN(s)
		if known := w.names.vr(h.tag); known != vrUN && known != vrSQ && !isPrivate(h.tag) && h.length != undefinedLength {
			h.vr = known
		} else if known == vrSQ && h.length != undefinedLength {
			return w.unknownSequence(h, b, s, outer)
		}
	} else if h.vr != vrSQ && h.length != undefinedLength && !representations[h.vr].text && !s.implicit && !isPrivate(h.tag) {
		switch known := w.names.vr(h.tag); {
		case known == vrSQ:
			return w.unknownSequence(h, b, w.inUN(s), s)
		case representations[known].text:
			return w.misstated(h, b, s, known)
		}
	} else if representations[h.vr].text && !s.implicit && w.names.vr(h.tag) == vrSQ && h.length != undefinedLength {
		return w.unknownSequence(h, b, w.inUN(s), s)
	}
	switch {
	case h.vr == vrSQ || (h.vr == vrUN && h.length == undefinedLength):
		base := len(w.items)
		err := w.sequence(h, b, s)
		if err != nil && (h.tag != tagContentSequence || len(w.items) == base) {
			w.items = w.items[:base]
			return err
		}
		w.putItems(h, s, base)
		return err
	case h.length == undefinedLength:
		return w.fragments(h, b, s.encoding)
	default:
		return w.value(h, b, s)
	}
}

// count counts parts of the file against the limit.
func (w *walker) count(n int, h elementHeader) error {
	if w.parts += n; w.parts > maxParts {
		return w.tooMany(h)
	}
	return nil
}

func (w *walker) tooMany(h elementHeader) error {
	return w.broken(h.start, w.path(h.tag), "more than %d elements, items and values", maxParts)
}
