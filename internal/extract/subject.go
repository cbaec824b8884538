package extract

import (
	"slices"
	"strings"
	"time"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/sr"
	"echotally/internal/ucum"
)

// Subject items of TID 1007 and TID 5201.
var (
	subjectSex = key("DCM", "121032")
	subjectAge = key("DCM", "121033")
	bodyHeight = []coding.Key{key("LN", "8302-2"), key("SCT", "50373000")}
	bodyWeight = []coding.Key{key("LN", "29463-7"), key("SCT", "27113001")}
)

// sexes maps the codes of CID 7455 to the values of Patient's Sex (0010,0040).
var sexes = map[coding.Key]string{
	key("DCM", "M"): "M", key("DCM", "F"): "F", key("DCM", "121102"): "O",
	key("SCT", "248153007"): "M", key("SCT", "248152002"): "F",
}

// headerSubject is what the header says of the person.
func headerSubject(doc *sr.Document) echo.Subject {
	p := &doc.Patient
	s := echo.Subject{AgeYears: headerAge(p.Age, p.BirthDate, doc.StudyDate), PatientSize: headerQuantity(p.Size, "m"), PatientWeight: headerQuantity(p.Weight, "kg")}
	if p.Sex == "M" || p.Sex == "F" || p.Sex == "O" {
		s.PatientSex = p.Sex
	}
	return s
}

// ofSubject reports whether items of that name may say something of the person, by their
// text or code or by a number.
func ofSubject(name coding.Key) bool {
	switch name {
	case subjectName, subjectID, subjectBirth, subjectSex, subjectAge:
		return true
	}
	return slices.Contains(bodyHeight, name) || slices.Contains(bodyWeight, name)
}

// measuredSubject is what the measurements of a report say of the person.
func measuredSubject(list []echo.Measurement) (s echo.Subject) {
	for i := range list {
		contentSubject(&s, &list[i])
	}
	return s
}

// fillSubject adds what the report's content says of the person, and its header does not.
func fillSubject(s *echo.Subject, sex string, measured *echo.Subject) {
	if s.PatientSex == "" {
		s.PatientSex = sex
	}
	if s.AgeYears == nil {
		s.AgeYears = measured.AgeYears
	}
	if s.PatientSize == nil {
		s.PatientSize = measured.PatientSize
	}
	if s.PatientWeight == nil {
		s.PatientWeight = measured.PatientWeight
	}
}

func contentSubject(s *echo.Subject, m *echo.Measurement) {
	if m.Fetus || m.Role != echo.Result || m.Quantity == nil {
		return
	}
	switch name := m.ConceptName.Key(); {
	case name == subjectAge && s.AgeYears == nil:
		if years, err := m.Quantity.To(unit("a")); err == nil {
			f := years.Value.Float()
			s.AgeYears = &f
		}
	case slices.Contains(bodyHeight, name) && s.PatientSize == nil:
		s.PatientSize = inUnit(m.Quantity, "m")
	case slices.Contains(bodyWeight, name) && s.PatientWeight == nil:
		s.PatientWeight = inUnit(m.Quantity, "kg")
	}
}

func inUnit(q *ucum.Quantity, code string) *ucum.Quantity {
	converted, err := q.To(unit(code))
	if err != nil {
		return nil
	}
	return &converted
}

// unit parses a code written in this package: a, m or kg, whatever the report says.
// TestWritersAgree and every other test that reads a body size shows them.
func unit(code string) ucum.Unit {
	u, err := ucum.Parse(code)
	if err != nil {
		panic("internal error: unit " + code)
	}
	return u
}

// headerQuantity reads Patient's Size or Weight; nought and less mean that
// nobody entered it.
func headerQuantity(ds, code string) *ucum.Quantity {
	if ds == "" {
		return nil
	}
	d, _, err := ucum.ParseDecimal(ds)
	if err != nil || d.Float() <= 0 {
		return nil
	}
	return &ucum.Quantity{Value: d, Unit: unit(code)}
}

// yearsPer is how many of the AS units make a year.
var yearsPer = [...]float64{'D': 365.25, 'W': 365.25 / 7, 'M': 12, 'Y': 1}

// headerAge reads Patient's Age, three digits and a unit, else takes it from birth and
// study date.
func headerAge(age, birthDate, studyDate string) *float64 {
	if age = strings.TrimSpace(age); len(age) == 4 && allDigits(age[:3]) && int(age[3]) < len(yearsPer) && yearsPer[age[3]] > 0 {
		years := float64(100*int(age[0]-'0')+10*int(age[1]-'0')+int(age[2]-'0')) / yearsPer[age[3]]
		return &years
	}
	birth, ok1 := date(birthDate)
	study, ok2 := date(studyDate)
	if !ok1 || !ok2 || study.Before(birth) {
		return nil
	}
	years := study.Sub(birth).Hours() / 24 / 365.25
	return &years
}

// date reads a DA value; false for none, and for one that is no date.
func date(da string) (time.Time, bool) {
	if len(da) != len("20060102") || !allDigits(da) {
		return time.Time{}, false
	}
	t, err := time.Parse("20060102", da)
	return t, err == nil
}

func allDigits(s string) bool {
	for _, c := range []byte(s) {
		if c < '0' || c > '9' {
			return false
		}
	}
	return true
}

// contentSex finds Subject Sex in the content, a fetus's aside.
func contentSex(root *sr.ContentItem) string {
	var out string
	sr.Each(root, func(item *sr.ContentItem) bool {
		if item.ConceptCode != nil && item.Name == subjectSex && out == "" {
			out = sexes[item.Code]
		}
		return out == ""
	})
	return out
}
