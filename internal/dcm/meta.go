package dcm

// notDICOM is the refusal of a file that has neither a meta header nor
// anything that looks like a data set.
func (w *walker) notDICOM() error {
	return &fault{Refusal: Refusal{
		Offset: w.pos, Reason: "not a DICOM file: no element at the start" + w.where,
		Hint: "give DICOM Part 10 files; unpack other archives than zip first",
	}}
}

// metaHeader finds the start of the file and reads group 0002, which is always
// explicit little endian (PS3.10 7.1). Afterwards the position is at the data set.
func (w *walker) metaHeader() ([]Element, error) {
	if err := w.findStart(); err != nil {
		return nil, err
	}
	start := w.pos
	b := bound{end: w.in.size, open: true, top: true}
	source := w.source(explicitLittle)
	groupEnd := int64(-1)
	for {
		raw, err := w.in.peek(w.pos, 8)
		if err != nil {
			return nil, err
		}
		if len(raw) < 8 || explicitLittle.uint16(raw) != 0x0002 {
			break
		}
		h, err := w.next(b, explicitLittle)
		if err != nil {
			return nil, err
		}
		if err := w.element(h, b, source); err != nil {
			return nil, err
		}
		if h.tag == tagMetaLength {
			if length := (Dataset{w.open}).Ints(tagMetaLength); len(length) > 0 {
				groupEnd = w.pos + length[0]
			}
		}
	}
	switch {
	case w.pos == start:
		w.deviation("", "PS3.10 7.1", "no file meta information")
	case groupEnd < 0:
		w.deviation(tagMetaLength.String(), "PS3.10 7.1", "no group length in the file meta information")
	case groupEnd != w.pos:
		w.deviation(tagMetaLength.String(), "PS3.10 7.1", "group length is wrong by %d bytes", groupEnd-w.pos)
	}
	return w.space.take(0), nil
}

// findStart moves behind the preamble, if there is one.
func (w *walker) findStart() error {
	raw, err := w.in.peek(0, 144)
	if err != nil {
		return err
	}
	if len(raw) >= 132 && string(raw[128:132]) == "DICM" {
		_, after := sniff(raw[132:])
		_, before := sniff(raw)
		if after || !before || len(raw) < 140 {
			w.pos = 132
			return nil
		}
	}
	w.deviation("", "PS3.10 7.1", "no preamble")
	if _, ok := sniff(raw); !ok {
		return w.notDICOM()
	}
	return nil
}

// dataset settles the transfer syntax and inflates the data set if need be.
// The walker it returns stands at the first element.
func (w *walker) dataset(f *File) (*walker, encoding, error) {
	s := lookupSyntax(f.TransferSyntaxUID)
	path := tagTransferSyntax.String()
	if s.deflated {
		inner, err := w.inflated()
		if err != nil {
			return w, encoding{}, err
		}
		w = inner
	}
	raw, err := w.in.peek(w.pos, 8)
	if err != nil {
		return w, encoding{}, err
	}
	found, ok := sniff(raw)
	switch {
	case f.TransferSyntaxUID == "" && !ok:
		return w, encoding{}, w.notDICOM()
	case f.TransferSyntaxUID == "":
		if len(f.Meta.Elements) > 0 {
			w.deviation(path, "PS3.10 7.1", "no transfer syntax; the data read as %s", found)
		}
		return w, found, nil
	case !s.known && (!ok || found != explicitLittle):
		return w, encoding{}, &fault{Refusal: Refusal{
			Offset: w.pos, TagPath: path, Reason: "unknown transfer syntax, and the data are not explicit little endian" + w.where,
			Hint: "have the sender use Explicit VR Little Endian",
		}}
	case !s.known:
		w.deviation(path, "PS3.5 10", "unknown transfer syntax; the data read as explicit little endian")
		return w, explicitLittle, nil
	case ok && found != s.encoding:
		w.deviation(path, "PS3.5 10", "the data are %s, against the transfer syntax", found)
		return w, found, nil
	}
	return w, s.encoding, nil
}

// inflated returns a walker over the inflated data set.
func (w *walker) inflated() (*walker, error) {
	ceiling := int64(maxInflated)
	if w.wanted != nil {
		ceiling = maxIdentified
	}
	out := w.in.inflate(w.pos, ceiling, w.space)
	if out.io != nil {
		return nil, out.io
	}
	inner := *w
	inner.in, inner.pos = inMemory(out.data), 0
	inner.makeRoom(inner.in.size)
	inner.where = " (offset counted after inflation)"
	switch {
	case out.capped && !w.header:
		return nil, w.broken(w.pos, "", "deflated data set expands to more than %d bytes", maxInflated)
	case len(out.data) == 0:
		return nil, w.broken(w.pos, "", "deflated data set does not inflate")
	case out.capped:
		inner.damage = inner.broken(int64(len(out.data)), "", "deflated data set expands to more than %d bytes", maxInflated)
	case out.damage != nil:
		inner.damage = inner.cut(int64(len(out.data)), "", "the deflated stream is cut or damaged")
	}
	if out.zlib {
		inner.deviation("", "PS3.5 A.5", "deflated data set with a zlib header")
	}
	if out.trailer > 1 {
		inner.deviation("", "PS3.5 A.5", "%d bytes after the deflated stream", out.trailer)
	}
	return &inner, nil
}
