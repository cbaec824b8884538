package extract

import (
	"math"
	"regexp"
	"slices"
	"strings"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/sr"
)

// What stands below a finding and changes what it says: how severe it is
// (PS3.16 CID 3716, by code, number or word), and how sure.
var (
	severityName   = key("SCT", "246112005")
	certaintyNames = []coding.Key{key("SCT", "246103008"), key("SCT", "408729009"), key("SCT", "705057003")}
	// Values of finding context and certainty (SNOMED CT, from memory) beside those
	// that answer a question with no.
	ruledOut = []coding.Key{key("SCT", "410516002"), key("SCT", "410594000")}
	doubtful = []coding.Key{
		key("SCT", "410590009"), key("SCT", "410592001"), key("SCT", "410593000"), key("SCT", "415684004"),
		key("SCT", "42425007"), key("SCT", "60022001"), key("SCT", "261665006"),
	}
)

// Grades of PS3.16 CID 3716.
var (
	gradeNone             = key("SCT", "260413007")
	gradeMild             = key("SCT", "255604002")
	gradeMildToModerate   = key("SCT", "371923003")
	gradeModerate         = key("SCT", "6736007")
	gradeModerateToSevere = key("SCT", "371924009")
	gradeSevere           = key("SCT", "24484000")
)

// qualifiers are what stands below a finding.
type qualifiers struct {
	denied, unsure bool
	grade          coding.Key // of the severity by code or number, the zero key for none
	words          string     // severity in words that no code says
}

// qualifiersOf reads the children of a finding.
func (x *extractor) qualifiersOf(item *sr.ContentItem) (q qualifiers) {
	for i := range item.ContentItems {
		child := item.ContentItems[i].Target()
		if child == nil {
			continue
		}
		switch {
		case child.Name == severityName:
			q.severity(child)
		case slices.Contains(certaintyNames, child.Name) && child.ConceptCode != nil:
			q.denied = q.denied || slices.Contains(no, child.Code) || slices.Contains(ruledOut, child.Code)
			q.unsure = q.unsure || slices.Contains(undecided, child.Code) || slices.Contains(doubtful, child.Code)
		}
	}
	return q
}

func (q *qualifiers) severity(item *sr.ContentItem) {
	switch item.ValueType {
	case sr.CodeValue:
		if item.ConceptCode == nil {
			return
		}
		q.grade, q.words = item.Code, item.ConceptCode.CodeMeaning
		if slices.Contains(no, item.Code) {
			q.denied, q.grade, q.words = true, coding.Key{}, ""
		}
	case sr.NumValue:
		if grade, ok := gradeOf(item); ok {
			q.grade, q.denied = grade, q.denied || grade == gradeNone
		}
	case sr.TextValue:
		q.words = item.Text
	}
}

// scaleEnd finds what a grade is counted of: "grade of 3", "/4", "von 4".
var scaleEnd = regexp.MustCompile(`(?i)(?:\bof|\bvon|\bsur|\bde|/)[ _]*([3-5])\b`)

// gradeOf is the grade a number means. Of a scale that ends nowhere stated, 3 is
// the third of four, as regurgitation is counted (common practice); a number
// between two grades is the grade between.
func gradeOf(item *sr.ContentItem) (coding.Key, bool) {
	if item.MeasuredValue == nil {
		return coding.Key{}, false
	}
	var m echo.Measurement
	value, ok := readNumber(&m, item.MeasuredValue)
	if !ok {
		return coding.Key{}, false
	}
	steps, unit := []coding.Key{gradeNone, gradeMild, gradeModerate, gradeModerateToSevere, gradeSevere}, item.MeasuredValue.Units
	if end := scaleEnd.FindStringSubmatch(unit.CodeValue + " " + unit.CodeMeaning + " " + item.ConceptName.CodeMeaning); end != nil && end[1] == "3" {
		steps = []coding.Key{gradeNone, gradeMild, gradeModerate, gradeSevere}
	}
	switch n := value.Float(); {
	case n == 1.5:
		return gradeMildToModerate, true
	case n == 2.5:
		return gradeModerateToSevere, true
	case n < 0 || n > 5 || n != math.Trunc(n):
		return coding.Key{}, false
	default:
		return steps[min(int(n), len(steps)-1)], true
	}
}

// qualified reads a finding with what stands below it: a severity of none denies
// it, a doubt leaves it unsaid.
func (x *extractor) qualified(item *sr.ContentItem, here *scope) []found {
	q := x.qualifiersOf(item)
	if q.unsure {
		return nil
	}
	value := item.ConceptCode
	defs := x.valueOf(item).makes
	if site := here.modifiers.FindingSite; site != nil {
		if at := x.c.Statements.AtSite(item.Code, site.Concept.Key()); len(at) > 0 {
			defs = slices.Concat(defs, at)
		}
	}
	out := x.settled(defs, value, q.denied)
	if q.denied || q.grade == (coding.Key{}) && q.words == "" {
		return out
	}
	known := len(out)
	for _, def := range defs {
		for _, graded := range x.c.Statements.Graded(def, q.grade) {
			out = append(out, found{identifier: graded.Identifier, quote: value.Words() + ", severity " + q.said(), fromCode: true})
		}
	}
	if len(out) == known && known > 0 && q.words != "" {
		for _, m := range x.c.Statements.InText(value.CodeMeaning + ": " + q.words) {
			if !slices.ContainsFunc(out, func(f found) bool { return f.identifier == m.Identifier }) {
				out = append(out, found{identifier: m.Identifier, negated: m.Negated, quote: m.Quote})
			}
		}
	}
	return out
}

func (q *qualifiers) said() string {
	if q.words != "" {
		return strings.ToLower(q.words)
	}
	return map[coding.Key]string{gradeMild: "mild", gradeMildToModerate: "mild to moderate", gradeModerate: "moderate",
		gradeModerateToSevere: "moderate to severe", gradeSevere: "severe"}[q.grade]
}

// gradedByNumber reads a number as the grade of the finding it is named by, or
// below which it stands; false when it is something else.
func (x *extractor) gradedByNumber(item *sr.ContentItem) ([]found, bool) {
	if item.Name == severityName {
		return nil, true // told with the finding around it
	}
	if x.c.Statements == nil {
		return nil, false
	}
	defs := x.c.Statements.ByCode(item.Name)
	grade, ok := gradeOf(item)
	if len(defs) == 0 || !ok {
		return nil, false
	}
	quote := item.ConceptName.Words() + ", grade " + strings.TrimSpace(item.MeasuredValue.NumericValue)
	out := x.settled(defs, item.ConceptName, grade == gradeNone)
	for i := range out {
		out[i].quote = quote
	}
	for _, def := range defs {
		for _, graded := range x.c.Statements.Graded(def, grade) {
			out = append(out, found{identifier: graded.Identifier, quote: quote, fromCode: true})
		}
	}
	return out, true
}
