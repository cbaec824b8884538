package dcm

// sequence puts the items of a sequence on the stack; the position is behind its
// header. When the file is cut inside a Content Sequence they are the complete
// ones, and the containers among the incomplete ones with theirs.
func (w *walker) sequence(h elementHeader, b bound, s *source) error {
	if len(w.steps) >= maxDepth {
		return w.broken(h.start, w.path(h.tag), "sequences nested deeper than %d", maxDepth)
	}
	own, err := w.declared(b, h.length, h.tag)
	if err != nil {
		return err
	}
	w.steps = append(w.steps, step{tag: h.tag})
	err = w.itemsOf(own, s)
	w.steps = w.steps[:len(w.steps)-1]
	return err
}

// itemsOf puts the items of a sequence on the stack.
func (w *walker) itemsOf(own bound, s *source) error {
	for {
		if done, err := w.sequenceEnd(own); done || err != nil {
			return err
		}
		ih, err := w.next(own, s.encoding)
		if err != nil {
			return err
		}
		switch {
		case ih.tag == tagItem:
			w.steps[len(w.steps)-1].item++
			item, err := w.item(ih, own, s)
			if err == nil || w.isContent() && keepsContent(item) {
				w.items = append(w.items, item)
			}
			if err != nil {
				return err
			}
		case ih.tag == tagSequenceDelimiter && own.delimited:
			if ih.length != 0 {
				w.deviation(w.path(), "PS3.5 7.5.2", "sequence delimiter with a length; the length is ignored")
			}
			return nil
		case (ih.tag == tagSequenceDelimiter || ih.tag == tagItemDelimiter) && ih.length == 0:
			w.deviation(w.path(), "PS3.5 7.5.2", "stray delimiter between items; skipped")
		default:
			return w.broken(ih.start, w.path(ih.tag), "not an item, where an item of the sequence belongs")
		}
	}
}

// sequenceEnd says whether the sequence ends at the current position.
func (w *walker) sequenceEnd(own bound) (bool, error) {
	left := own.end - w.pos
	last := &w.steps[len(w.steps)-1]
	switch {
	case left == 0 && own.unfinished, left > 0 && left < 8 && own.open:
		last.item = 0 // the place is between items
		return true, w.short(own, w.path())
	case left == 0:
		return true, nil
	case left < 8:
		last.item = 0
		return true, w.broken(w.pos, w.path(), "%d bytes left in the sequence, too few for an item", left)
	}
	return false, nil
}

func (w *walker) item(h elementHeader, seq bound, s *source) (Dataset, error) {
	if err := w.count(1, h); err != nil {
		return Dataset{}, err
	}
	own, err := w.declared(seq, h.length)
	if err != nil {
		return Dataset{}, err
	}
	elements, err := w.level(own, s)
	return Dataset{elements}, err
}

// isContent reports whether the walk stands in the content tree of a report.
func (w *walker) isContent() bool {
	for _, s := range w.steps {
		if s.tag != tagContentSequence {
			return false
		}
	}
	return true
}

// keepsContent reports whether a content item that the end of the file cuts is
// still worth having: a container with at least one complete item in it. A cut
// item of any other type may have lost what qualifies it, so it is dropped.
func keepsContent(d Dataset) bool {
	return d.Text(tagValueType) == "CONTAINER" && len(d.Sequence(tagContentSequence)) > 0
}

// unknownSequence tries an element of defined length that is sent as UN, or under
// another VR, as the sequence that the dictionary says it is: in implicit little
// endian (PS3.5 6.2.2 note 2), then in the encoding around it, as some write it.
// Failing that it stays bytes, and is lost when it is part of the content tree.
func (w *walker) unknownSequence(h elementHeader, b bound, implicit, around *source) error {
	start := w.pos
	if start+int64(h.length) > b.end {
		return w.value(h, b, implicit) // reports the length
	}
	deviations, more, skipped, lost, steps, base := len(w.deviations), w.moreDeviations, len(w.skipped), len(w.losses), len(w.steps), len(w.items)
	for _, s := range []*source{implicit, around} {
		err := w.sequence(h, bound{end: start + int64(h.length)}, s)
		if err == nil {
			if s == around || h.vr != vrUN {
				w.deviation(w.path(h.tag), "PS3.5 6.2.2", "a sequence sent as %s; read as %s", h.vr, s.encoding)
			}
			w.pos = start + int64(h.length)
			w.putItems(h, s, base)
			return nil
		}
		w.items = w.items[:base]
		if asFault(err) == nil || w.parts > maxParts {
			return err
		}
		w.deviations, w.moreDeviations = w.deviations[:deviations], more
		w.skipped, w.losses, w.steps, w.pos = w.skipped[:skipped], w.losses[:lost], w.steps[:steps], start
	}
	w.deviation(w.path(h.tag), "PS3.5 6.2.2", "a sequence sent as %s that does not read as one; kept as bytes", h.vr)
	if h.length > 0 && (h.tag == tagContentSequence || len(w.steps) > 0 && w.steps[0].tag == tagContentSequence) {
		w.lost(w.path(h.tag), "a sequence sent as "+h.vr.String()+" that does not read as one")
	}
	return w.value(h, b, implicit)
}

// fragments steps over a value of undefined length that is not a sequence:
// encapsulated pixel data of an icon. The element comes back without a value.
func (w *walker) fragments(h elementHeader, b bound, enc encoding) error {
	if h.vr != vrOB && h.vr != vrOW {
		return w.broken(h.start, w.path(h.tag), "undefined length, which %s may not have", h.vr)
	}
	for {
		if b.end-w.pos < 8 {
			return w.short(b, w.path(h.tag))
		}
		fh, err := w.next(b, enc)
		if err != nil {
			return err
		}
		if fh.tag == tagSequenceDelimiter {
			break
		}
		if fh.tag != tagItem || fh.length == undefinedLength {
			return w.broken(fh.start, w.path(h.tag), "not a fragment, where a fragment of encapsulated data belongs")
		}
		if int64(fh.length) > b.end-w.pos {
			return w.tooLong(fh, b, w.path(h.tag))
		}
		w.pos += int64(fh.length)
	}
	w.skipped = append(w.skipped, Loss{Offset: h.start, TagPath: w.path(h.tag), Reason: "encapsulated pixel data inside an item" + w.where})
	w.putEmpty(h)
	return nil
}

// tooLong is the fault for a declared length that exceeds what is left.
func (w *walker) tooLong(h elementHeader, b bound, path string) error {
	if b.open {
		return w.cut(h.start, path, "file ends inside this element: %d bytes declared, %d left", h.length, b.end-w.pos)
	}
	return w.broken(h.start, path, "%d bytes declared, %d left in the parent", h.length, b.end-w.pos)
}
