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
// UID). Documents are ordered by content time; those named as predecessors or
// replaced by a later complete report of the same series are superseded, and
// their measurements marked.
func Study(docs []*sr.Document, c Catalogues) *echo.Study {
	docs = inOrder(docs)
	s := &echo.Study{}
	replaced := supersession(docs)
	for i, doc := range docs {
		if s.StudyInstanceUID == "" {
			s.StudyInstanceUID = doc.StudyInstanceUID
		}
		if s.StudyDate == "" {
			s.StudyDate = doc.StudyDate
		}
		identity := &s.Identity
		for _, f := range []struct {
			to   *echo.Protected
			from string
		}{
			{&identity.PatientName, doc.Patient.Name}, {&identity.PatientID, doc.Patient.ID},
			{&identity.AccessionNumber, doc.Patient.AccessionNumber}, {&identity.BirthDate, doc.Patient.BirthDate},
		} {
			if *f.to == "" {
				*f.to = echo.Protected(f.from)
			}
		}
		x := read(doc, c)
		summary := document(doc)
		if r := replaced[i]; r != nil {
			summary.SupersededBy, summary.SupersededReason = r.by, r.reason
			for k := range x.measurements {
				x.measurements[k].Superseded = true
			}
			x.statements = nil // the later document speaks
		}
		s.Documents = append(s.Documents, summary)
		s.Measurements = append(s.Measurements, x.measurements...)
		s.Statements = append(s.Statements, x.statements...)
		subject(&s.Subject, doc, x.measurements)
	}
	markDuplicates(s.Measurements)
	return s
}
