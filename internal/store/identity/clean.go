package identity

import (
	"math"
	"regexp"
	"slices"
	"sort"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"echotally/internal/echo"
	"echotally/internal/packed"
)

// Withheld stands where a text named a person.
const Withheld = "(withheld)"

// asWritten are the fields whose texts are codes, numbers or places in a
// report: taking a name out of these would change what they say.
var asWritten = map[string]bool{
	"ValueText": true, "CodeValue": true, "CodingSchemeDesignator": true, "CodingSchemeVersion": true, "Measurand": true, "Identifier": true,
	"Item": true, "Group": true, "StudyDate": true, "ContentTime": true, "PatientSex": true, "SupersededBy": true, "Predecessors": true,
	"Pseudonym": true, "TemplateIdentifier": true, "CompletionFlag": true, "VerificationFlag": true, "GraphicType": true, "Manufacturer": true,
	"ManufacturerModelName": true, "SoftwareVersions": true, "StationName": true,
	"SOPInstanceUID": true, "SOPClassUID": true, "SeriesInstanceUID": true, "StudyInstanceUID": true, "TrackingUID": true,
}

// beginning is how much of a name is held against the words of a text before the
// pattern is, which takes far longer.
const beginning = 3

// beginnings are how names begin, whatever their case.
type beginnings struct {
	all   map[[beginning]rune]bool
	first [utf8.RuneSelf]bool // of them, the characters of ASCII
}

func (b *beginnings) add(name []rune) {
	var is [beginning]rune
	for i := range is {
		is[i] = folded(name[i])
	}
	b.all[is] = true
	if is[0] < utf8.RuneSelf {
		b.first[is[0]] = true
	}
}

// folded is the least of the characters that are the same but for their case.
func folded(r rune) rune {
	if r < utf8.RuneSelf {
		if 'a' <= r && r <= 'z' {
			r -= 'a' - 'A'
		}
		return r
	}
	least := r
	for other := unicode.SimpleFold(r); other != r; other = unicode.SimpleFold(other) {
		least = min(least, other)
	}
	return least
}

// mayBegin reports whether something in the text that stands where a word may begin
// begins as a name does.
func (b *beginnings) mayBegin(text string) bool {
	inWord := false
	for i, r := range text {
		if !inWord && (r >= utf8.RuneSelf || b.first[folded(r)]) && b.at(text[i:]) {
			return true
		}
		inWord = ofWord(r)
	}
	return false
}

// at reports whether a text begins as a name does.
func (b *beginnings) at(text string) bool {
	var is [beginning]rune
	n := 0
	for _, r := range text {
		is[n] = folded(r)
		if n++; n == beginning {
			return b.all[is]
		}
	}
	return false
}

// ofWord reports whether a character is a letter or a number.
func ofWord(r rune) bool {
	if r < utf8.RuneSelf {
		return 'a' <= r && r <= 'z' || 'A' <= r && r <= 'Z' || '0' <= r && r <= '9'
	}
	return unicode.In(r, unicode.L, unicode.N)
}

// Cleaner takes the given names and numbers out of free texts, whole words only.
// It is for one goroutine: a report says the same few texts again and again, and
// each is looked through once.
func Cleaner(names []string) *packed.Clean {
	var patterns []string
	begins := beginnings{all: map[[beginning]rune]bool{}}
	for _, n := range names {
		for _, part := range append(strings.FieldsFunc(n, func(r rune) bool { return strings.ContainsRune("^= ,.;", r) }), strings.TrimSpace(n)) {
			// Shorter parts are found in too many words, and what stands for a name
			// would be found in itself.
			if len([]rune(part)) >= 3 && !strings.Contains(Withheld, strings.ToLower(part)) && !slices.Contains(patterns, regexp.QuoteMeta(part)) {
				patterns = append(patterns, regexp.QuoteMeta(part))
				begins.add([]rune(part))
			}
		}
	}
	if len(patterns) == 0 {
		return nil
	}
	sort.Slice(patterns, func(i, j int) bool { return len(patterns[i]) > len(patterns[j]) })
	named := sync.OnceValue(func() *regexp.Regexp { // most reports say no name
		return regexp.MustCompile(`(?i)(^|[^\pL\pN])(?:` + strings.Join(patterns, "|") + `)($|[^\pL\pN])`)
	})
	cleaned := map[string]string{}
	return &packed.Clean{AsWritten: asWritten, Text: func(text string) string {
		if known, ok := cleaned[text]; ok {
			return known
		}
		out := text
		for begins.mayBegin(out) && named().MatchString(out) { // neighbours share the character between them
			out = named().ReplaceAllString(out, "${1}"+Withheld+"${2}")
		}
		cleaned[text] = out
		return out
	}}
}

// CoarseAge leaves of an age what limits ask for: whole years, below 18 whole
// months. With the study date, more would tell the date of birth.
func CoarseAge(years *float64) *float64 {
	if years == nil {
		return nil
	}
	out := math.Floor(*years)
	if *years < 18 {
		out = math.Floor(*years*12) / 12
	}
	return &out
}

// NamesIn are all texts of a report that name a person.
func NamesIn(s *echo.Study) []string {
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
