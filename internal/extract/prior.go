package extract

import (
	"echotally/internal/coding"
	"echotally/internal/echo"
)

// earlierFindings are the headings below which values of an earlier study stand
// (PS3.16 CID 7001 and the DCM codes before it).
var earlierFindings = []coding.Key{
	key("LN", "18834-2"), key("DCM", "121068"), // Previous Findings
	key("LN", "55114-3"), key("DCM", "121066"), // Prior Procedure Descriptions
}

// quotedFrom gathers the values a study's reports quote from an earlier study; nil
// when there are none. They are dated by when the items say they were observed.
func quotedFrom(s *echo.Study) *echo.Prior {
	p := &echo.Prior{BirthDate: echo.Agrees, PatientSex: s.Subject.PatientSex, Quoted: true}
	for i := range s.Measurements {
		if of := &s.Measurements[i]; of.Role != echo.Earlier || of.Measurand == "" || of.Superseded {
			continue
		}
		m := s.Measurements[i]
		if date := m.ObservationDateTime; !date.IsZero() && date.Format("20060102") < s.StudyDate {
			p.StudyDate = max(p.StudyDate, date.Format("20060102"))
		}
		m.Role, m.Images, m.Link = echo.Result, nil, nil
		p.Measurements = append(p.Measurements, m)
	}
	if len(p.Measurements) == 0 {
		return nil
	}
	return p
}
