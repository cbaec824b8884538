// Package extract turns structured reports into an echo study: every NUM item
// becomes a measurement with its effective modifiers and its place, every code
// and text a statement if the phrase files know it. It does not judge.
//
// The templates of echocardiography differ in where they put a modifier, not in
// what it means, so one walk serves them all: TID 5200 with its sections and
// groups, TID 5300 with its flat containers, the TID 5220 family, and any
// report that just holds NUM items.
package extract

import (
	"echotally/internal/echo"
	"echotally/internal/measurand"
	"echotally/internal/sr"
	"echotally/internal/statement"
	"slices"
)

// Catalogues are the data files extraction needs.
type Catalogues struct {
	Measurands *measurand.Catalogue
	Statements *statement.Catalogue
}

// Measurements lists every NUM item of one document in document order.
func Measurements(doc *sr.Document, c Catalogues) []echo.Measurement {
	list := read(doc, Catalogues{Measurands: c.Measurands}).measurements
	markDuplicates(list)
	return list
}

// Study builds one study from its documents (all of the same Study Instance
// UID).
func Study(docs []*sr.Document, c Catalogues) *echo.Study {
	reports := make([]*echo.Study, len(docs))
	for i, doc := range docs {
		reports[i] = Report(doc, c)
	}
	return Merge(reports)
}

// Report reads one document as a study of its own.
func Report(doc *sr.Document, c Catalogues) *echo.Study {
	x := read(doc, c)
	s := &echo.Study{
		StudyInstanceUID: doc.StudyInstanceUID, StudyDate: doc.StudyDate,
		Identity: echo.Identity{
			PatientName: echo.Protected(doc.Patient.Name), PatientID: echo.Protected(doc.Patient.ID),
			AccessionNumber: echo.Protected(doc.Patient.AccessionNumber), BirthDate: echo.Protected(doc.Patient.BirthDate),
			IssuerOfPatientID: echo.Protected(doc.Patient.IssuerOfID),
		},
		Documents:    []echo.Document{document(doc)},
		Measurements: x.measurements,
		Statements:   x.statements,
		Segments:     x.segments,
		Worded:       x.worded,
	}
	s.Documents[0].Wordless = !x.spoken
	s.Subject = headerSubject(doc)
	if !x.personal { // the content says nothing of the person
		if !doc.Patient.Anonymous {
			contradictions(s, doc, s.Subject, sayings{}, echo.Subject{})
		}
		return s
	}
	header, measured := s.Subject, measuredSubject(x.measurements)
	fillSubject(&s.Subject, contentSex(&doc.ContentItem), &measured)
	if !doc.Patient.Anonymous {
		contradictions(s, doc, header, contentIdentity(doc), measured)
	}
	return s
}

// Merge makes one study of what [Report] gave for each of its documents, in
// whatever order they came. Documents are ordered by content time; those named
// as predecessors or replaced by a later complete report of the same series are
// superseded, and their measurements marked. What is in the reports becomes part of
// the study: they are not to be used any more.
func Merge(reports []*echo.Study) *echo.Study {
	reports = inOrder(reports)
	s := &echo.Study{}
	docs := make([]echo.Document, len(reports))
	measurements := 0
	for i, r := range reports {
		docs[i] = r.Documents[0]
		measurements += len(r.Measurements)
	}
	switch {
	case len(reports) == 1: // as nearly always: nothing is to be put together
		only := reports[0]
		s.Measurements, s.Statements, s.Segments, s.Worded = only.Measurements, only.Statements, only.Segments, only.Worded
	case measurements > 0:
		s.Measurements = make([]echo.Measurement, 0, measurements)
	}
	replaced := supersession(docs)
	for i, r := range reports {
		between(s, r)
		fillStudy(s, r)
		if len(reports) == 1 {
			break
		}
		own := len(s.Measurements)
		s.Measurements = append(s.Measurements, r.Measurements...)
		if by := replaced[i]; by != nil {
			docs[i].SupersededBy, docs[i].SupersededReason, docs[i].Replaced = by.by, by.reason, saidOf(r.Statements)
			for k := own; k < len(s.Measurements); k++ {
				s.Measurements[k].Superseded = true
			}
			continue // of its statements and segments the later document speaks
		}
		s.Statements = append(s.Statements, r.Statements...)
		s.Segments = append(s.Segments, r.Segments...)
		s.Worded = append(s.Worded, r.Worded...)
	}
	s.Documents = docs
	markDuplicates(s.Measurements)
	s.Prior = quotedFrom(s)
	return s
}

// saidOf are the identifiers of what statements say of the study, sorted.
func saidOf(statements []echo.Statement) []string {
	var out []string
	for i := range statements {
		if st := &statements[i]; !st.Negated && st.Measurement == nil {
			out = append(out, st.Identifier)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// fillStudy takes from a report what the study does not know yet.
func fillStudy(s, r *echo.Study) {
	known := func(to *string, from string) {
		if *to == "" {
			*to = from
		}
	}
	known(&s.StudyInstanceUID, r.StudyInstanceUID)
	known(&s.StudyDate, r.StudyDate)
	known(&s.Subject.PatientSex, r.Subject.PatientSex)
	protected := func(to *echo.Protected, from echo.Protected) { known((*string)(to), string(from)) }
	protected(&s.Identity.PatientName, r.Identity.PatientName)
	if s.Identity.PatientID == "" { // the two belong together
		s.Identity.PatientID, s.Identity.IssuerOfPatientID = r.Identity.PatientID, r.Identity.IssuerOfPatientID
	}
	protected(&s.Identity.AccessionNumber, r.Identity.AccessionNumber)
	protected(&s.Identity.BirthDate, r.Identity.BirthDate)
	if s.Subject.AgeYears == nil {
		s.Subject.AgeYears = r.Subject.AgeYears
	}
	if s.Subject.PatientSize == nil {
		s.Subject.PatientSize = r.Subject.PatientSize
	}
	if s.Subject.PatientWeight == nil {
		s.Subject.PatientWeight = r.Subject.PatientWeight
	}
}
