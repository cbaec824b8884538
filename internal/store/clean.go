package store

import (
	"math"
	"regexp"
	"slices"
	"sort"
	"strings"

	"echotally/internal/echo"
)

// withheld stands where a text named a person.
const withheld = "(withheld)"

// asWritten are the fields whose texts are codes, numbers or places in a
// report: taking a name out of these would change what they say.
var asWritten = []string{
	"ValueText", "CodeValue", "CodingSchemeDesignator", "CodingSchemeVersion", "Measurand", "Identifier", "Item", "Group",
	"StudyDate", "ContentTime", "PatientSex", "SupersededBy", "Predecessors", "Pseudonym", "TemplateIdentifier",
	"CompletionFlag", "VerificationFlag", "GraphicType", "Manufacturer", "ManufacturerModelName", "SoftwareVersions", "StationName",
}

// cleaner takes the given names and numbers out of free texts, whole words only.
func cleaner(names []string) func(field, text string) string {
	var patterns []string
	for _, n := range names {
		for _, part := range append(strings.FieldsFunc(n, func(r rune) bool { return strings.ContainsRune("^= ,.;", r) }), strings.TrimSpace(n)) {
			// Shorter parts are found in too many words.
			if len([]rune(part)) >= 3 && !slices.Contains(patterns, regexp.QuoteMeta(part)) {
				patterns = append(patterns, regexp.QuoteMeta(part))
			}
		}
	}
	if len(patterns) == 0 {
		return func(_, text string) string { return text }
	}
	sort.Slice(patterns, func(i, j int) bool { return len(patterns[i]) > len(patterns[j]) })
	named := regexp.MustCompile(`(?i)(^|[^\pL\pN])(?:` + strings.Join(patterns, "|") + `)($|[^\pL\pN])`)
	return func(field, text string) string {
		if strings.HasSuffix(field, "UID") || slices.Contains(asWritten, field) {
			return text
		}
		for named.MatchString(text) { // neighbours share the character between them
			text = named.ReplaceAllString(text, "${1}"+withheld+"${2}")
		}
		return text
	}
}

// coarseAge leaves of an age what limits ask for: whole years, below 18 whole
// months. With the study date, more would tell the date of birth.
func coarseAge(years *float64) *float64 {
	if years == nil {
		return nil
	}
	out := math.Floor(*years)
	if *years < 18 {
		out = math.Floor(*years*12) / 12
	}
	return &out
}

// ageBand puts an age in years into a band.
func ageBand(years *float64) string {
	switch {
	case years == nil:
		return ""
	case *years < 18:
		return "0-17"
	case *years >= 90:
		return "90+"
	case *years < 30:
		return "18-29"
	}
	tens := string(rune('0' + int(*years)/10))
	return tens + "0-" + tens + "9"
}

// namesOf are all texts of a report that name a person.
func namesOf(s *echo.Study) []string {
	var out []string
	for _, p := range []echo.Protected{s.Identity.PatientName, s.Identity.PatientID, s.Identity.AccessionNumber, s.Identity.BirthDate} {
		out = append(out, p.Reveal())
	}
	for _, d := range s.Documents {
		for _, p := range d.Staff {
			out = append(out, p.Name.Reveal())
		}
	}
	return out
}
