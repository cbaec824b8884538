package extract

import (
	"math"
	"slices"
	"strings"
	"time"

	"echotally/internal/echo"
	"echotally/internal/sr"
	"echotally/internal/ucum"
)

// Subject items of TID 1007 that name the person.
var (
	subjectName  = key("DCM", "121029")
	subjectID    = key("DCM", "121030")
	subjectBirth = key("DCM", "121031")
)

// What two records of one adult may differ by without being of two (site choice):
// height in m, weight as a share, age in years beyond the year it is cut to.
const (
	heightSlack = 0.05
	weightSlack = 0.15
	ageSlack    = 1.0
)

// contradictions compares a report's content with what its header says of the person;
// said and measured are what the content says.
func contradictions(s *echo.Study, doc *sr.Document, header echo.Subject, said sayings, measured echo.Subject) {
	add := func(of echo.Attribute) {
		s.Contradict(echo.Contradiction{Of: of, Within: echo.InReport, SOPInstanceUID: doc.SOPInstanceUID})
	}
	for _, of := range s.Identity.Contradicts(said.Identity) {
		add(of)
	}
	content := measured
	content.PatientSex = said.sex
	for _, of := range otherSubject(&header, &content) {
		add(of)
	}
	if born := headerAge("", known(doc.Patient.BirthDate), doc.StudyDate); born != nil {
		for _, age := range []*float64{header.AgeYears, content.AgeYears} {
			if age != nil && farApart(*age, *born) {
				add(echo.OfAge)
			}
		}
	}
	if before(doc.ContentDate, doc.StudyDate) {
		add(echo.OfContentDate)
	}
}

// known leaves out the birth date that stands for an unknown one.
func known(birth string) string {
	if birth == "19000101" {
		return ""
	}
	return birth
}

// farApart reports whether an age in whole years cannot be that reckoned from the
// birth date.
func farApart(age, born float64) bool {
	return age > born+ageSlack || age < math.Floor(born)-ageSlack
}

// before reports whether a date is more than a day before another: clocks of two
// places may show two days.
func before(day, other string) bool {
	a, ok1 := date(day)
	b, ok2 := date(other)
	return ok1 && ok2 && b.Sub(a) > 24*time.Hour
}

// sayings is what the content of a report says of the person itself.
type sayings struct {
	echo.Identity
	sex string
}

// contentIdentity reads what the content says of the person, a fetus's and an
// earlier study's aside.
func contentIdentity(doc *sr.Document) (out sayings) {
	sr.Each(&doc.ContentItem, func(item *sr.ContentItem) bool {
		if ctx := item.Context(); ctx.Subject != nil && ctx.SubjectClass.Key() == fetusSubject || slices.Contains(earlierFindings, item.Name) {
			return false
		}
		take := func(to *echo.Protected) {
			if *to == "" {
				*to = echo.Protected(strings.TrimSpace(item.Text))
			}
		}
		switch item.Name {
		case subjectName:
			take(&out.PatientName)
		case subjectID:
			take(&out.PatientID)
		case subjectBirth:
			take(&out.BirthDate)
		case subjectSex:
			if item.ConceptCode != nil && out.sex == "" {
				out.sex = sexes[item.Code]
			}
		}
		return true
	})
	return out
}

// otherSubject lists in what two records of a person differ more than records of
// one do.
func otherSubject(a, b *echo.Subject) []echo.Attribute {
	var out []echo.Attribute
	if one := func(s string) bool { return s == "M" || s == "F" }; one(a.PatientSex) && one(b.PatientSex) && a.PatientSex != b.PatientSex {
		out = append(out, echo.OfSex)
	}
	if x, y, ok := sizes(a.PatientSize, b.PatientSize, "m"); ok && math.Abs(x-y) > heightSlack {
		out = append(out, echo.OfHeight)
	}
	if x, y, ok := sizes(a.PatientWeight, b.PatientWeight, "kg"); ok && math.Abs(x-y) > weightSlack*max(x, y) {
		out = append(out, echo.OfWeight)
	}
	if a.AgeYears != nil && b.AgeYears != nil && math.Abs(*a.AgeYears-*b.AgeYears) > 1+ageSlack {
		out = append(out, echo.OfAge)
	}
	return out
}

// sizes gives two sizes in one unit. A height written in another unit than its
// field asks for is a slip of its own, not another person.
func sizes(a, b *ucum.Quantity, code string) (x, y float64, ok bool) {
	if a == nil || b == nil {
		return 0, 0, false
	}
	x, err1 := a.Float(unit(code))
	y, err2 := b.Float(unit(code))
	return x, y, err1 == nil && err2 == nil && x < 2*y && y < 2*x
}

// between compares a report with the study made of those before it.
func between(s, r *echo.Study) {
	uid := r.Documents[0].SOPInstanceUID
	add := func(list []echo.Attribute) {
		for _, of := range list {
			s.Contradict(echo.Contradiction{Of: of, Within: echo.AmongObjects, SOPInstanceUID: uid})
		}
	}
	add(s.Identity.Contradicts(r.Identity))
	add(otherSubject(&s.Subject, &r.Subject))
	if s.StudyDate != "" && r.StudyDate != "" && (before(s.StudyDate, r.StudyDate) || before(r.StudyDate, s.StudyDate)) {
		add([]echo.Attribute{echo.OfStudyDate})
	}
	for _, c := range r.Contradictions {
		s.Contradict(c)
	}
}
