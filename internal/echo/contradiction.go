package echo

import (
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// Contradiction is something a study says of person or time differently in two
// places. What they say is not kept.
type Contradiction struct {
	Of             Attribute `cbor:"1,keyasint,omitempty"`
	Within         Extent    `cbor:"2,keyasint,omitempty"`
	SOPInstanceUID string    `cbor:"3,keyasint,omitempty"` // of the object that says otherwise, "" when it is not known which
}

// Attribute is what is contradicted.
type Attribute string

// Attributes a study may contradict itself in.
const (
	OfName            Attribute = "name"
	OfPatientID       Attribute = "patientID"
	OfBirthDate       Attribute = "birthDate"
	OfSex             Attribute = "sex"
	OfAge             Attribute = "age" // against the birth date
	OfHeight          Attribute = "height"
	OfWeight          Attribute = "weight"
	OfStudyDate       Attribute = "studyDate"
	OfContentDate     Attribute = "contentDate" // before the study
	OfAccessionNumber Attribute = "accessionNumber"
)

// Attributes lists them.
func Attributes() []Attribute {
	return []Attribute{OfName, OfPatientID, OfBirthDate, OfSex, OfAge, OfHeight, OfWeight, OfStudyDate, OfContentDate, OfAccessionNumber}
}

// Extent says between what the contradiction is.
type Extent string

// Extents.
const (
	InReport     Extent = "report"  // between header and content of one report
	AmongObjects Extent = "objects" // between reports, or a report and an image
)

// Extents lists them.
func Extents() []Extent { return []Extent{InReport, AmongObjects} }

// Contradict adds a contradiction that is not known yet.
func (s *Study) Contradict(c Contradiction) {
	if !slices.ContainsFunc(s.Contradictions, func(o Contradiction) bool { return o.Of == c.Of && o.Within == c.Within }) {
		s.Contradictions = append(s.Contradictions, c)
	}
}

// Contradicts lists in what two identities contradict each other. What one of
// them does not say contradicts nothing; neither does another number of a person
// of the same name and birth date, nor a name of which a part is the same.
func (i Identity) Contradicts(o Identity) []Attribute {
	var out []Attribute
	name := sameName(string(i.PatientName), string(o.PatientName))
	birth := sameDate(string(i.BirthDate), string(o.BirthDate))
	if name == Differs {
		out = append(out, OfName)
	}
	if number(i.PatientID) != number(o.PatientID) && number(i.PatientID) != "" && number(o.PatientID) != "" &&
		(i.IssuerOfPatientID == "" || o.IssuerOfPatientID == "" || i.IssuerOfPatientID == o.IssuerOfPatientID) && !(name == Agrees && birth == Agrees) {
		out = append(out, OfPatientID)
	}
	if birth == Differs {
		out = append(out, OfBirthDate)
	}
	if a, b := number(i.AccessionNumber), number(o.AccessionNumber); a != "" && b != "" && a != b {
		out = append(out, OfAccessionNumber)
	}
	return out
}

// number is a number as it is compared: without padding and leading zeros.
func number(p Protected) string {
	return strings.TrimLeft(strings.ToUpper(strings.TrimSpace(string(p))), "0")
}

// sameDate compares two dates written in full. The first of January 1900 stands
// for an unknown one in many systems.
func sameDate(a, b string) Agreement {
	a, b = strings.TrimSpace(a), strings.TrimSpace(b)
	switch unknown := func(d string) bool { return len(d) != len("20060102") || d == "19000101" }; {
	case unknown(a) || unknown(b):
		return ""
	case a == b:
		return Agrees
	}
	return Differs
}

// sameName compares two person names (PN). They agree when the parts of one are
// among those of the other, and differ when they have no part in common.
func sameName(a, b string) Agreement {
	if a == "" || b == "" {
		return "" // as nearly always: content seldom names the patient again
	}
	x, y := nameParts(a), nameParts(b)
	if len(x) == 0 || len(y) == 0 {
		return ""
	}
	if len(x) > len(y) {
		x, y = y, x
	}
	common := 0
	for _, p := range x {
		if slices.Contains(y, p) {
			common++
		}
	}
	switch common {
	case 0:
		if latin(x) != latin(y) {
			return "" // written in two scripts
		}
		return Differs
	case len(x):
		return Agrees
	}
	return ""
}

func latin(parts []string) bool {
	return slices.ContainsFunc(parts, func(p string) bool {
		return strings.ContainsFunc(p, func(r rune) bool { return unicode.Is(unicode.Latin, r) })
	})
}

// umlauts are written in several ways.
var umlauts = strings.NewReplacer("ae", "a", "oe", "o", "ue", "u", "ø", "o", "œ", "o", "æ", "a", "ß", "ss")

// nameParts are the family and given names of all component groups (the name in
// other scripts), folded: without marks, and with the ways to write an umlaut
// made one.
func nameParts(pn string) []string {
	var parts []string
	for group := range strings.SplitSeq(pn, "=") {
		components := strings.Split(group, "^")
		parts = append(parts, components[:min(2, len(components))]...)
	}
	var out []string
	for _, part := range parts {
		for _, word := range strings.FieldsFunc(strings.ToLower(part), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.Is(unicode.Mn, r) }) {
			folded := strings.Map(func(r rune) rune {
				if unicode.Is(unicode.Mn, r) {
					return -1
				}
				return r
			}, norm.NFKD.String(word))
			out = append(out, umlauts.Replace(folded))
		}
	}
	return out
}
