// Package prior owns which earlier study a study is compared with, and what is kept of it
// for that.
package prior

import "echotally/internal/echo"

// Of is what a study is compared with: the latest of the others that is of an
// earlier day and of the same person, which is the same patient ID of the same
// issuer, and the same birth date. Without one it is the latest under that ID;
// without any, what the study's own reports quote. Studies of one day are not
// put in an order. The studies are not changed.
func Of(of *echo.Study, others []*echo.Study) *echo.Prior {
	var best *echo.Study
	var agreement echo.Agreement
	for _, o := range others {
		if !sameID(of, o) || !earlier(o, of) {
			continue
		}
		is := BirthDates(of, o)
		same, was := is == echo.Agrees, agreement == echo.Agrees
		if best == nil || same && !was || same == was && later(o, best) {
			best, agreement = o, is
		}
	}
	if best == nil {
		return of.Prior
	}
	return priorOf(best, agreement)
}

func sameID(a, b *echo.Study) bool {
	return a.Identity.PatientID != "" && a.Identity.PatientID == b.Identity.PatientID && a.Identity.IssuerOfPatientID == b.Identity.IssuerOfPatientID
}

func earlier(a, b *echo.Study) bool { return a.StudyDate != "" && a.StudyDate < b.StudyDate }

func later(a, b *echo.Study) bool {
	if a.StudyDate != b.StudyDate {
		return a.StudyDate > b.StudyDate
	}
	return a.StudyInstanceUID > b.StudyInstanceUID
}

// BirthDates says whether two studies state one birth date, "" where one states none.
func BirthDates(a, b *echo.Study) echo.Agreement {
	switch x, y := a.Identity.BirthDate, b.Identity.BirthDate; {
	case x == "" || y == "":
		return ""
	case x == y:
		return echo.Agrees
	}
	return echo.Differs
}

// priorOf keeps of an earlier study what a later one is compared with.
func priorOf(s *echo.Study, agreement echo.Agreement) *echo.Prior {
	p := &echo.Prior{StudyDate: s.StudyDate, BirthDate: agreement, PatientSex: s.Subject.PatientSex}
	for _, m := range s.Measurements {
		if m.Measurand == "" || m.Role != echo.Result || m.Superseded || m.DuplicateOf != nil {
			continue
		}
		m.Images, m.Link = nil, nil
		p.Measurements = append(p.Measurements, m)
	}
	return p
}
