package dcm

import (
	"io"
	"strings"
)

// Identity is what a file says of itself at its start.
type Identity struct {
	SOPClassUID, SOPInstanceUID, StudyInstanceUID string

	Modality  string // (0008,0060)
	StudyDate string // (0008,0020) as written
	Image     bool   // it states Rows, as images of every class do

	ContentDate, ContentTime string // (0008,0023), (0008,0033) as written
	Patient                  Patient
}

// Patient is whom a file says it is of, as written. It prints masked.
type Patient struct{ ID, IssuerOfID, BirthDate string }

// String masks the patient, so that no log or error shows one.
func (Patient) String() string { return "patient (masked)" }

// GoString masks the patient in %#v.
func (Patient) GoString() string { return "patient (masked)" }

// Report reports whether the object carries a content tree.
func (i Identity) Report() bool {
	return IsReport(i.SOPClassUID) || i.SOPClassUID == "" && (i.Modality == "SR" || i.Modality == "KO")
}

// maxIdentified is how much of a deflated data set is expanded for an identity.
const maxIdentified = 1 << 20

// Identify reads no more of a file than tells what it is and where it belongs: a
// few kB, up to Rows (0028,0010), keeping nothing else and making no elements of
// it. Of a large set of files it is the first pass. What it reads is read as
// ReadBytes does, but a fault behind that place is not seen. Errors are those of
// ReadHeader.
func Identify(r io.ReaderAt, size int64) (Identity, error) {
	w := &walker{in: inWindow(r, size), header: true, room: maxHeaderBytes, space: &space{}}
	w.stop = func(t Tag) bool { return t.Uint32() > tagRows.Uint32() }
	w.wanted = func(t Tag) bool {
		switch t {
		case tagSOPClass, tagSOPInstance, tagStudyDate, tagModality, tagStudyInstance, tagRows,
			tagCharacterSet, tagContentDate, tagContentTime, tagPatientID, tagIssuerOfPatientID, tagBirthDate:
			return true
		}
		return false
	}
	_, f, err := w.file()
	if err != nil {
		return Identity{}, refusalOf(err)
	}
	return f.Identity(), nil
}

// Identity returns what the file says of itself.
func (f *File) Identity() Identity {
	d := f.Dataset
	id := Identity{
		SOPClassUID: d.UID(tagSOPClass), SOPInstanceUID: d.UID(tagSOPInstance), StudyInstanceUID: d.UID(tagStudyInstance),
		Modality: d.Text(tagModality), StudyDate: d.Text(tagStudyDate), Image: d.Has(tagRows),
		ContentDate: d.Text(tagContentDate), ContentTime: d.Text(tagContentTime),
		Patient: Patient{ID: d.Text(tagPatientID), IssuerOfID: d.Text(tagIssuerOfPatientID), BirthDate: d.Text(tagBirthDate)},
	}
	if id.SOPClassUID == "" {
		id.SOPClassUID = f.Meta.UID(tagMediaClass)
	}
	return id
}

// report is what the identity says, without making one.
func (f *File) report() bool {
	class := f.Dataset.UID(tagSOPClass)
	if class == "" {
		class = f.Meta.UID(tagMediaClass)
	}
	return Identity{SOPClassUID: class, Modality: f.Dataset.Text(tagModality)}.Report()
}

// Contradicts says in what a file that is no report by its SOP class speaks of one
// all the same, "" when in nothing: its class may have been damaged.
func (f *File) Contradicts() string {
	is, media := f.Identity(), f.Meta.UID(tagMediaClass)
	switch {
	case is.Report():
		return ""
	case f.Dataset.Has(tagContentSequence):
		return "it has a Content Sequence"
	case IsReport(media):
		return "its meta header calls it a structured report"
	case (is.Modality == "SR" || f.Dataset.Text(tagValueType) == "CONTAINER") && media != is.SOPClassUID:
		return "its modality or its Value Type is that of a structured report"
	}
	return ""
}

// IsReport reports whether objects of the SOP class carry a content tree: the SR
// storage classes, Key Object Selection among them (PS3.4 annex B.5).
func IsReport(sopClassUID string) bool {
	return strings.HasPrefix(sopClassUID, "1.2.840.10008.5.1.4.1.1.88.")
}
