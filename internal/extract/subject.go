package extract

import (
	"regexp"
	"slices"
	"strconv"
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

// subject fills what the study does not know yet of the person: from the
// header, else from the report's content.
func subject(s *echo.Subject, doc *sr.Document, list []echo.Measurement) {
	p := doc.Patient
	if s.PatientSex == "" && (p.Sex == "M" || p.Sex == "F" || p.Sex == "O") {
		s.PatientSex = p.Sex
	}
	if s.AgeYears == nil {
		s.AgeYears = headerAge(p, doc.StudyDate)
	}
	if s.PatientSize == nil {
		s.PatientSize = headerQuantity(p.Size, "m")
	}
	if s.PatientWeight == nil {
		s.PatientWeight = headerQuantity(p.Weight, "kg")
	}
	if s.PatientSex == "" {
		s.PatientSex = contentSex(&doc.ContentItem)
	}
	for i := range list {
		contentSubject(s, &list[i])
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
	d, _, err := ucum.ParseDecimal(ds)
	if err != nil || d.Float() <= 0 {
		return nil
	}
	return &ucum.Quantity{Value: d, Unit: unit(code)}
}

var ageString = regexp.MustCompile(`^(\d{3})([DWMY])$`)

// yearsPer is how many of the AS units make a year.
var yearsPer = map[string]float64{"D": 365.25, "W": 365.25 / 7, "M": 12, "Y": 1}

// headerAge reads Patient's Age, else takes it from birth and study date.
func headerAge(p sr.Patient, studyDate string) *float64 {
	if m := ageString.FindStringSubmatch(strings.TrimSpace(p.Age)); m != nil {
		n, _ := strconv.ParseFloat(m[1], 64) // three digits by the pattern
		years := n / yearsPer[m[2]]
		return &years
	}
	birth, err1 := time.Parse("20060102", p.BirthDate)
	study, err2 := time.Parse("20060102", studyDate)
	if err1 != nil || err2 != nil || study.Before(birth) {
		return nil
	}
	years := study.Sub(birth).Hours() / 24 / 365.25
	return &years
}

// contentSex finds Subject Sex in the content, a fetus's aside.
func contentSex(root *sr.ContentItem) string {
	var out string
	sr.Walk(root, func(item *sr.ContentItem, _ []*sr.ContentItem) bool {
		if item.ConceptCode != nil && item.Name == subjectSex && out == "" {
			out = sexes[item.Code]
		}
		return out == ""
	})
	return out
}
