package store

import (
	"bytes"
	"slices"

	"echotally/internal/echo"
	"echotally/internal/packed"
	"echotally/internal/store/form"
	"echotally/internal/store/identity"
)

// Fate says what became of a file.
type Fate string

// Fates of an object.
const (
	Read    Fate = "read"    // everything in it was read
	Partial Fate = "partial" // damaged, read in part
	Refused Fate = "refused" // may hold a report, but nothing of it is used
	Ignored Fate = "ignored" // not a report, or a copy of one
)

// Object is one file and what became of it.
type Object struct {
	Path           string // as given; a path may name a patient and is kept sealed
	SHA256         string // "" when nothing could be read, so that nothing is kept
	SOPInstanceUID string
	SOPClassUID    string
	Image          bool
	State          Fate
	Reason         string // free of paths
}

// Found is an object with what was read of it: a report, the header of an image,
// or neither.
type Found struct {
	Object
	Report *echo.Study
	Header *echo.Image // of the image
}

// known is an object as the ledger holds it, with its last reading.
type known struct {
	id              int64
	sha256, sop     string
	image           bool
	state           Fate
	reason          string
	study           string // "" for none
	reader, content string // of the last reading
	packed          []byte // nil without a reading
	fresh           []byte // reading to be added, as it is packed
}

// counts reports whether the study is composed of it, among others.
func (k *known) counts() bool {
	return (k.state == Read || k.state == Partial) && (k.packed != nil || k.fresh != nil)
}

// unpack reads the last reading into v.
func (k *known) unpack(v any, parts *packed.Parts) error {
	if k.fresh != nil {
		return form.Study.Unpack(k.fresh, v, parts)
	}
	return form.Unpack(k.packed, v, parts)
}

// same reports whether the last reading is what was read now.
func (k *known) same(fresh []byte) bool {
	if k.packed == nil {
		return false
	}
	var into any = &echo.Study{}
	if k.image {
		into = &echo.Image{}
	}
	before, err := form.Repacked(k.packed, into)
	return err == nil && bytes.Equal(before, fresh)
}

// says reports whether the last reading has the content of one that was read
// now. Version 1 took its digests of content in another form.
func (k *known) says(content string, fresh []byte, parts *packed.Parts) bool {
	if k.content == content {
		return true
	}
	if k.packed == nil || !form.IsFirst(k.packed) {
		return false
	}
	if k.image {
		return k.same(fresh)
	}
	var was, is echo.Study
	return k.unpack(&was, parts) == nil && form.Study.Unpack(fresh, &is, parts) == nil && form.Content(&was) == form.Content(&is)
}

// pack packs what was read of an object; nil when it is neither report nor
// image. The digest is of what it says, whatever names are taken out.
func (st *State) pack(f *Found) (fresh []byte, content string) {
	switch {
	case f.Report != nil:
		one := *f.Report
		one.Subject.AgeYears = identity.CoarseAge(f.Report.Subject.AgeYears)
		one.Documents = slices.Clone(f.Report.Documents)
		for i := range one.Documents {
			d := &one.Documents[i]
			d.Staff = slices.Clone(d.Staff)
			for k := range d.Staff {
				d.Staff[k].Pseudonym = st.key.Pseudonym(d.Staff[k].Name.Reveal())
			}
		}
		return st.keep(&one), form.Content(&one)
	case f.Header != nil:
		return st.keep(f.Header), form.Digest(packed.Pack(f.Header, nil))
	}
	return nil, ""
}

// keep packs a value without names, and takes note of its parts.
func (st *State) keep(v any) []byte {
	plain, parts := form.Study.Pack(v, st.clean)
	for _, p := range parts {
		st.apart[p.Name] = p.Packed
	}
	return plain
}
