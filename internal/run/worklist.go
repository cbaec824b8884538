package run

import (
	"bytes"
	"cmp"
	"context"
	"iter"
	"slices"
	"sort"
	"strings"

	"echotally/internal/dcm"
	"echotally/internal/echo"
	"echotally/internal/intake"
	"echotally/internal/run/prior"
	"echotally/internal/sr"
	"echotally/internal/ultrasound"
)

// Note is what the first pass keeps of an object: the digest of the file and
// what it says of itself at its start.
type Note struct {
	Object Object
	found  *intake.Object
	report bool    // one that is to be read
	header *header // of such a report, until the worklist is made
}

// header is what orders reports and tells of whom they are.
type header struct {
	content, date string // content date and time; study date
	who           echo.Identity
}

// settled notes that the object is not to be read.
func (n *Note) settled(o Object) { n.Object, n.report, n.header = o, false, nil }

// Note reads as much of an object as tells what it is. Of reports and ultrasound
// images, which are read again with their study, that is their beginning.
func (r Reader) Note(ctx context.Context, found *intake.Object) Note {
	one := listed(found)
	if found.Reason != "" {
		return Note{Object: one.object, found: found}
	}
	content, err := found.Read(ctx)
	if err == nil {
		is, failed := dcm.Identify(bytes.NewReader(content.Bytes), content.Size)
		report := sr.IsStructuredReport(is.SOPClassUID)
		if failed == nil && (report || ultrasound.IsImage(is.SOPClassUID) && is.Image && is.Modality == "US") {
			one.identify(is)
			one.object.SHA256, one.object.State, one.object.Image = content.SHA256, Read, !report
			note := Note{Object: one.object, found: found, report: report}
			if report {
				note.header = &header{is.ContentDate + is.ContentTime, is.StudyDate, echo.Identity{
					PatientID: echo.Protected(is.Patient.ID), IssuerOfPatientID: echo.Protected(is.Patient.IssuerOfID), BirthDate: echo.Protected(is.Patient.BirthDate)}}
			}
			return note
		}
	}
	return Note{Object: r.readContent(ctx, one, found, content, err).object, found: found}
}

// opens reports whether the object alone makes a study worth a page: a report,
// read or not, or an ultrasound image. Everything else is listed under its study
// only when the study is there for another reason.
func (n *Note) opens() bool {
	return n.report || n.Object.StudyInstanceUID != "" && (n.Object.Image || n.Object.State == Refused)
}

// study tells the notes of one study from those of others. A report that states no
// study is one of its own.
func (n *Note) study() string {
	if n.Object.StudyInstanceUID == "" && n.report {
		return "/" + n.Object.Path
	}
	return n.Object.StudyInstanceUID
}

// Worklist is what the first pass came to: the studies that are to be read, and
// every object that belongs to none.
type Worklist struct {
	Studies []Listed // by study date, then UID
	Unread  []Object // by path

	persons map[person][]int // of the studies, in their order
}

// Listed is a study to be read.
type Listed struct {
	StudyInstanceUID string  // "" of a report that states none
	StudyDate        string  // "" without a report
	notes            []*Note // by path
	who              echo.Identity
}

// Unrecordable gives the objects of a study that has no identifier as objects that
// cannot be recorded, false for any other.
func (l *Listed) Unrecordable() ([]Object, bool) {
	if l.StudyInstanceUID != "" {
		return nil, false
	}
	var out []Object
	for i := range l.notes {
		o := l.notes[i].Object
		o.State, o.Reason, o.Hint = Refused, "no Study Instance UID: it cannot be recorded", "export the report again from where it was made"
		out = append(out, o)
	}
	return out, true
}

// Objects counts the objects of the study.
func (l *Listed) Objects() int { return len(l.notes) }

// person is by whom studies are tied.
type person struct{ id, issuer echo.Protected }

// List makes the worklist of what was noted, in the order of the notes.
func (r Reader) List(ctx context.Context, notes []Note) *Worklist {
	r.settleCopies(ctx, notes)
	same := map[string]string{} // kept once, of what many objects have in common
	once := func(text string) string {
		if kept, ok := same[text]; ok {
			return kept
		}
		same[text] = text
		return text
	}
	w := &Worklist{persons: map[person][]int{}}
	place := map[string]int{}
	for i := range notes {
		if study := notes[i].study(); notes[i].opens() {
			if _, ok := place[study]; !ok {
				place[study] = len(w.Studies)
				w.Studies = append(w.Studies, Listed{StudyInstanceUID: notes[i].Object.StudyInstanceUID})
			}
		}
	}
	for i := range notes {
		n, ok := place[notes[i].study()]
		if !ok {
			w.Unread = append(w.Unread, notes[i].Object)
			continue
		}
		o := &notes[i].Object
		o.StudyInstanceUID, o.SOPClassUID = w.Studies[n].StudyInstanceUID, once(o.SOPClassUID)
		w.Studies[n].notes = append(w.Studies[n].notes, &notes[i])
	}
	for i := range w.Studies {
		w.Studies[i].describe()
	}
	sort.Slice(w.Studies, func(i, j int) bool {
		x, y := &w.Studies[i], &w.Studies[j]
		return cmp.Or(cmp.Compare(x.StudyDate, y.StudyDate), cmp.Compare(x.StudyInstanceUID, y.StudyInstanceUID),
			cmp.Compare(x.notes[0].Object.Path, y.notes[0].Object.Path)) < 0
	})
	for i := range w.Studies {
		if who := w.Studies[i].who; who.PatientID != "" && w.Studies[i].StudyDate != "" && w.Studies[i].StudyInstanceUID != "" {
			of := person{who.PatientID, who.IssuerOfPatientID}
			w.persons[of] = append(w.persons[of], i)
		}
	}
	return w
}

// describe takes date and person from the reports, in their order, as merging
// them will.
func (l *Listed) describe() {
	var reports []*Note
	for _, n := range l.notes {
		if n.report {
			reports = append(reports, n)
		}
	}
	slices.SortStableFunc(reports, func(a, b *Note) int {
		return cmp.Or(strings.Compare(a.header.content, b.header.content), strings.Compare(a.Object.SOPInstanceUID, b.Object.SOPInstanceUID))
	})
	for _, n := range reports {
		h := n.header
		l.StudyDate = cmp.Or(l.StudyDate, h.date)
		if l.who.PatientID == "" {
			l.who.PatientID, l.who.IssuerOfPatientID = h.who.PatientID, h.who.IssuerOfPatientID
		}
		l.who.BirthDate = cmp.Or(l.who.BirthDate, h.who.BirthDate)
		n.header = nil
	}
}

// Earlier gives the earlier studies of the person in the order in which
// [prior.Of] prefers them, as far as the first pass tells.
func (w *Worklist) Earlier(of *echo.Study) iter.Seq[*Listed] {
	all := w.persons[person{of.Identity.PatientID, of.Identity.IssuerOfPatientID}]
	before := sort.Search(len(all), func(i int) bool { return w.Studies[all[i]].StudyDate >= of.StudyDate })
	return func(yield func(*Listed) bool) {
		for _, wanted := range []bool{true, false} {
			for _, i := range slices.Backward(all[:before]) {
				l := &w.Studies[i]
				agrees := prior.BirthDates(of, &echo.Study{Identity: l.who}) == echo.Agrees
				if agrees == wanted && !yield(l) {
					return
				}
			}
		}
	}
}
