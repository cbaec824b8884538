package writer

import (
	"regexp"
	"strings"

	"echotally/internal/echo"
	"echotally/internal/sr"
)

// withheld stands where a text named the patient.
const withheld = "(withheld)"

// withhold takes the patient's identity out of a quoted text: a report's
// sentence may name the person. Parts of a name shorter than three letters are
// left, for they are found inside other words.
func withhold(text string, who echo.Identity) string {
	if text == "" {
		return text
	}
	parts := []string{who.PatientID.Reveal(), who.AccessionNumber.Reveal()}
	parts = append(parts, strings.FieldsFunc(who.PatientName.Reveal(), func(r rune) bool { return strings.ContainsRune("^= ,.", r) })...)
	for _, p := range parts {
		if p = strings.TrimSpace(p); len([]rune(p)) >= 3 {
			text = regexp.MustCompile(`(?i)(^|[^\pL\pN])`+regexp.QuoteMeta(p)+`($|[^\pL\pN])`).ReplaceAllString(text, "${1}"+withheld+"${2}")
		}
	}
	return text
}

func documentIdentity(doc *sr.Document) echo.Identity {
	return echo.Identity{
		PatientName: echo.Protected(doc.Patient.Name), PatientID: echo.Protected(doc.Patient.ID),
		AccessionNumber: echo.Protected(doc.Patient.AccessionNumber), BirthDate: echo.Protected(doc.Patient.BirthDate),
	}
}
