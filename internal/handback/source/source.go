// Package source owns what the objects of a study say of it that goes into every object
// about it: whose it is, as they say, and where each object stands.
package source

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"echotally/internal/dcm"
	"echotally/internal/echo"
	"echotally/internal/sr"
	"echotally/internal/sr/made"
)

// Source is what the objects of a study say of it: whose it is, and where each object
// stands.
type Source struct {
	StudyInstanceUID string
	Institution      string // of the report, "" unknown

	header   dcm.Dataset // patient and study
	ofReport bool        // the header is that of a report
	who      echo.Identity
	objects  map[string]sr.InstanceReference
	images   map[string]bool
	order    []string // SOP Instance UIDs as they came
}

// copied are the attributes of the modules Patient, Patient Study, General Study and
// Clinical Trial Subject that go over as they are (PS3.3 C.7.1.1, C.7.2.1, C.7.2.2), and
// the offset of all times.
var copied = []uint32{
	0x00080020, 0x00080030, 0x00080050, 0x00080051, 0x00080090, 0x00080201, 0x00081030, 0x00081032, 0x00081040,
	0x00100010, 0x00100020, 0x00100021, 0x00100024, 0x00100030, 0x00100032, 0x00100040, 0x00101002, 0x00101010, 0x00101020, 0x00101030, 0x00102160,
	0x00120010, 0x00120020, 0x00120021, 0x00120030, 0x00120031, 0x00120040, 0x00120062, 0x00120063, 0x00120064,
	0x0020000D, 0x00200010,
}

// required are those that have to be there, if empty (type 2 of the same modules).
var required = []uint32{0x00080020, 0x00080030, 0x00080050, 0x00080090, 0x00100010, 0x00100020, 0x00100030, 0x00100040, 0x00200010}

// ErrOfTwo is the error for objects of one study that name two persons: what would be
// written could be filed under the wrong one.
var ErrOfTwo = errors.New("the objects of the study name different patients: nothing is handed back")

// Add takes in an object of the study. What it keeps shares nothing with the file.
func (s *Source) Add(f *dcm.File) error {
	is, d := f.Identity(), f.Dataset
	switch {
	case is.StudyInstanceUID == "" || is.SOPInstanceUID == "" || is.SOPClassUID == "":
		return errors.New("the object has no SOP Class, SOP Instance or Study Instance UID")
	case s.StudyInstanceUID == "":
		s.StudyInstanceUID, s.objects, s.images = is.StudyInstanceUID, map[string]sr.InstanceReference{}, map[string]bool{}
	case s.StudyInstanceUID != is.StudyInstanceUID:
		return fmt.Errorf("the object belongs to another study than %s", s.StudyInstanceUID)
	}
	who := echo.Identity{
		PatientName: echo.Protected(d.Text(dcm.T(0x00100010))), PatientID: echo.Protected(d.Text(dcm.T(0x00100020))),
		IssuerOfPatientID: echo.Protected(d.Text(dcm.T(0x00100021))), BirthDate: echo.Protected(d.Text(dcm.T(0x00100030))),
	}
	if s.who == (echo.Identity{}) {
		s.who = who
	} else if len(s.who.Contradicts(who)) > 0 {
		return ErrOfTwo
	}
	if Own(d) {
		return nil // handed back before
	}
	if report := sr.IsStructuredReport(is.SOPClassUID); report && !s.ofReport || len(s.order) == 0 {
		s.header, s.ofReport, s.Institution = headerOf(d), report, d.Text(dcm.T(0x00080080))
	}
	if _, known := s.objects[is.SOPInstanceUID]; !known {
		s.order = append(s.order, is.SOPInstanceUID)
	}
	s.objects[is.SOPInstanceUID] = sr.InstanceReference{
		SOPClassUID: is.SOPClassUID, SOPInstanceUID: is.SOPInstanceUID, StudyInstanceUID: is.StudyInstanceUID, SeriesInstanceUID: d.UID(dcm.T(0x0020000E)),
	}
	s.images[is.SOPInstanceUID] = is.Image
	return nil
}

// Header are patient and study as an object about them says them.
func (s *Source) Header() dcm.Dataset { return dcm.New(s.header.Elements...) }

// Objects are the objects taken in, as they came.
func (s *Source) Objects() []sr.InstanceReference {
	var out []sr.InstanceReference
	for _, uid := range s.order {
		out = append(out, s.objects[uid])
	}
	return out
}

// Object is the object of a SOP Instance UID, false where it is not at hand.
func (s *Source) Object(uid string) (sr.InstanceReference, bool) {
	ref, known := s.objects[uid]
	return ref, known
}

// IsImage reports whether the object of a SOP Instance UID is an image.
func (s *Source) IsImage(uid string) bool { return s.images[uid] }

func headerOf(d dcm.Dataset) dcm.Dataset {
	out := dcm.New()
	for i := range d.Elements {
		if e := &d.Elements[i]; slices.Contains(copied, e.Tag.Uint32()) {
			out.Add(copyOf(e))
		}
	}
	for _, t := range required {
		if !out.Has(dcm.T(t)) {
			out.Add(dcm.Strings(dcm.T(t)))
		}
	}
	return out
}

// copyOf copies an element out of its file.
func copyOf(e *dcm.Element) dcm.Element {
	value := e.Value()
	if list, ok := value.([]dcm.Dataset); ok {
		items := make([]dcm.Dataset, len(list))
		for i := range list {
			for k := range list[i].Elements {
				items[i].Add(copyOf(&list[i].Elements[k]))
			}
		}
		return dcm.Sequence(e.Tag, items...)
	}
	if texts, ok := value.([]string); ok {
		trimmed := make([]string, len(texts))
		for i := range texts {
			trimmed[i] = strings.TrimRight(texts[i], " \x00")
		}
		value = trimmed
	}
	return dcm.Private(e.Tag, e.VR(), value)
}

// Own reports whether an object is one that this program wrote.
func Own(d dcm.Dataset) bool { return d.Text(dcm.T(0x00080070)) == made.Maker }
