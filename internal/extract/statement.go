package extract

import (
	"slices"
	"strings"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/sr"
	"echotally/internal/statement"
	"echotally/internal/term"
	"echotally/internal/ucum"
)

// telling says how far what stands in a container is told of the study itself.
type telling int

const (
	ofTheStudy telling = iota
	ofThePast          // only lasting facts count: a prosthesis, not a rhythm
	ofTheAsker         // why the study was wanted: nothing counts
)

// tellingOf lists the headings below which not the study speaks (PS3.16 CID
// 7001 and the DCM codes before it).
var tellingOf = map[coding.Key]telling{
	key("DCM", "121060"): ofThePast, // History
	key("LN", "11329-0"): ofThePast,
	key("DCM", "121068"): ofThePast, // Previous Findings
	key("LN", "18834-2"): ofThePast,
	key("DCM", "121066"): ofThePast, // Prior Procedure Descriptions
	key("LN", "55114-3"): ofThePast,
	key("LN", "55752-0"): ofThePast, // Clinical Information
	key("DCM", "121062"): ofTheAsker,
	key("LN", "55115-0"): ofTheAsker, // Request
	key("DCM", "121109"): ofTheAsker,
	key("LN", "18785-6"): ofTheAsker, // Indications for Procedure
	key("DCM", "121070"): ofTheStudy, // Findings
	key("LN", "59776-5"): ofTheStudy,
	key("DCM", "121111"): ofTheStudy, // Summary
	key("DCM", "121076"): ofTheStudy, // Conclusions
	measurementGroup:     ofTheStudy,
	key("LN", "19005-8"): ofTheStudy, // Impressions
	key("DCM", "121072"): ofTheStudy,
}

// silent tells concept names whose values say nothing about the study: labels,
// languages, sites, and the wording of equations and normal ranges.
func silent(name coding.Key) bool {
	switch name {
	case shortLabel, equivalentMeaning, trackingIdentifier, trackingUID, findingSite, laterality:
		return true
	}
	if name.CodingSchemeDesignator != "DCM" {
		return false
	}
	switch name.CodeValue {
	case "121046", "121047", "121049", "121405", "121406", "121407", "121408", "121420", "121421", "121422", "121423", "121424":
		return true
	}
	return false
}

// procedureCode is the one item of the observation context that tells what
// kind of study it is.
var procedureCode = key("DCM", "121023")

// Answers to a question that a concept name asks (PS3.16 CID 230, 240).
var (
	no        = []coding.Key{key("SCT", "272519000"), key("SCT", "260413007"), key("SCT", "2667000"), key("SCT", "373067005")}
	undecided = []coding.Key{key("SCT", "373068000"), key("SCT", "260245000")}
)

// found is a statement found at an item, before it is placed.
type found struct {
	identifier string
	negated    bool
	quote      string
	fromCode   bool
	view       string
}

// state adds the statements an item makes.
func (x *extractor) state(item *sr.ContentItem, here *scope) {
	name := item.Name
	known := x.nameOf(item)
	if x.c.Statements == nil || known.silent || item.RelationshipType == sr.HasObsContext && name != procedureCode {
		return
	}
	telling := here.telling
	if known.tells && item.ValueType != sr.ContainerValue {
		telling = known.telling
	}
	if telling == ofTheAsker {
		x.asked(item, here)
		return
	}
	x.place(x.found(item, here), item, here, telling)
	if item.ValueType == sr.TextValue {
		x.spoken = x.spoken || telling == ofTheStudy && strings.TrimSpace(item.Text) != ""
		x.reason(item, here)
		x.numbers(item, here, telling)
	}
}

// asked notes that the report says why the study was wanted.
func (x *extractor) asked(item *sr.ContentItem, here *scope) {
	words := strings.TrimSpace(item.Text)
	if item.ValueType == sr.CodeValue && item.ConceptCode != nil {
		words = item.ConceptCode.Words()
	}
	if words != "" && x.c.Statements.Find(statement.IndicationRecorded) != nil {
		x.place([]found{{identifier: statement.IndicationRecorded, quote: words}}, item, here, ofTheStudy)
	}
}

// numbers takes the values that a sentence about the study says.
func (x *extractor) numbers(item *sr.ContentItem, here *scope, telling telling) {
	if telling != ofTheStudy || here.earlier || here.fetus {
		return
	}
	for _, n := range x.c.Statements.Numbers(item.Text) {
		low, err1 := ucum.FromFloat(n.Low)
		high, err2 := ucum.FromFloat(n.High)
		if u, err := ucum.Parse(n.Unit); err == nil && err1 == nil && err2 == nil {
			x.worded = append(x.worded, echo.Worded{Measurand: n.Measurand, Low: ucum.Quantity{Value: low, Unit: u}, High: ucum.Quantity{Value: high, Unit: u}, Source: x.source(item)})
		}
	}
}

// reason takes a comment below a number without a value for the reason why.
func (x *extractor) reason(item *sr.ContentItem, here *scope) {
	if here.measurement == nil || strings.TrimSpace(item.Text) == "" || x.c.Statements.Find(statement.ReasonRecorded) == nil {
		return
	}
	for i := len(x.measurements) - 1; i >= 0; i-- {
		m := &x.measurements[i]
		if m.Source != *here.measurement {
			continue
		}
		if m.ValueText == "" && m.Qualifier == nil {
			x.place([]found{{identifier: statement.ReasonRecorded, quote: strings.TrimSpace(item.Text)}}, item, here, ofTheStudy)
		}
		return
	}
}

// place keeps the statements that count where they stand.
func (x *extractor) place(all []found, item *sr.ContentItem, here *scope, telling telling) {
	for _, f := range all {
		def := x.c.Statements.Find(f.identifier)
		if telling == ofThePast && (def == nil || !def.Lasting) || here.wall.of > 0 && def != nil && def.Whole {
			continue
		}
		x.statements = append(x.statements, echo.Statement{
			Identifier: f.identifier, Negated: f.negated, Quote: f.quote, FromCode: f.fromCode,
			Source: x.source(item), Measurement: here.parent(), Group: here.group,
			ImageView: x.view(f.view, here.modifiers.ImageView),
		})
	}
}

func (x *extractor) found(item *sr.ContentItem, here *scope) []found {
	switch item.ValueType {
	case sr.ContainerValue:
		return x.settled(x.nameOf(item).makes, item.ConceptName, false)
	case sr.TextValue:
		return x.inText(item.Text, item.ConceptName.CodeMeaning)
	case sr.NumValue:
		if x.measurements[len(x.measurements)-1].Role == echo.Grade {
			graded, _ := x.gradedByNumber(item)
			return graded
		}
	case sr.CodeValue:
		if item.ConceptCode != nil {
			return x.inCode(item, here)
		}
	}
	return nil
}

// byCode gives the statements a code makes.
func (x *extractor) byCode(code *coding.CodedConcept, key coding.Key, negated bool) []found {
	return x.settled(x.c.Statements.ByCode(key), code, negated)
}

// settled gives statements that are made or denied and, with each, the opposite
// it settles.
func (x *extractor) settled(defs []*statement.Definition, code *coding.CodedConcept, negated bool) []found {
	if len(defs) == 0 { // most codes say nothing of this kind
		return nil
	}
	var out []found
	quote := code.Words()
	for _, def := range defs {
		out = append(out, found{identifier: def.Identifier, negated: negated, quote: quote, fromCode: true})
		if opposite, ok := x.c.Statements.Implied(def.Identifier); ok {
			out = append(out, found{identifier: opposite, negated: !negated, quote: quote, fromCode: true})
		}
	}
	return out
}

// inCode reads a CODE item: the value may make a statement, or answer the
// question its name asks. A private code says what its meaning says.
func (x *extractor) inCode(item *sr.ContentItem, here *scope) []found {
	name, value := item.ConceptName, item.ConceptCode
	out := x.qualified(item, here)
	for _, def := range x.c.Statements.ByAnswer(item.Name, item.Code) {
		out = append(out, found{identifier: def.Identifier, quote: name.Words() + " = " + value.Words(), fromCode: true})
	}
	if makes := x.nameOf(item).makes; len(makes) > 0 && !slices.Contains(undecided, item.Code) {
		asked := x.settled(makes, name, slices.Contains(no, item.Code))
		for i := range asked {
			asked[i].quote = name.Words() + " = " + value.Words()
		}
		out = append(out, asked...)
	}
	if len(out) > 0 || !private(name) && !private(value) {
		return out
	}
	return x.inText(value.CodeMeaning, name.CodeMeaning)
}

// private reports whether a code is its maker's own (PS3.16 8.2: 99...).
func private(c *coding.CodedConcept) bool { return strings.HasPrefix(c.CodingSchemeDesignator, "99") }

// shortAnswer is the most words of a text that is read as the answer to its
// heading: "Tricuspid regurgitation" = "none".
const shortAnswer = 4

// inText gives the statements a text under its name makes. They are not to be written to.
func (x *extractor) inText(text, name string) []found {
	if out, ok := x.known.texts[heading{text, name}]; ok {
		return out
	}
	matches := x.c.Statements.InText(text)
	if len(matches) == 0 && name != "" && len(strings.Fields(text)) <= shortAnswer {
		matches = x.c.Statements.InText(name + ": " + text)
	}
	var out []found
	for _, m := range matches {
		out = append(out, found{identifier: m.Identifier, negated: m.Negated, quote: m.Quote, view: m.ImageView})
	}
	x.known.told(text, name, out)
	return out
}

// view turns a view named in the sentence into a modifier; without one the
// inherited view holds.
func (x *extractor) view(named string, inherited *echo.Modifier) *echo.Modifier {
	if named == "" || x.c.Measurands == nil || x.c.Measurands.Terms == nil {
		return inherited
	}
	t := x.c.Measurands.Terms.Find(term.ImageView, named)
	if t == nil || len(t.Codes) == 0 {
		return inherited
	}
	concept := t.Concept()
	return &echo.Modifier{Concept: concept, Written: concept, Level: echo.ItemLevel}
}

// describe adds what the study's description and procedure codes say of the kind
// of study. What else they mention is what was asked, not what was seen.
func (x *extractor) describe(doc *sr.Document) {
	if x.c.Statements == nil {
		return
	}
	var all []found
	of := func(f []found) {
		for _, one := range f {
			def := x.c.Statements.Find(one.identifier)
			if def != nil && def.OfStudy && !one.negated && !slices.ContainsFunc(all, func(a found) bool { return a.identifier == one.identifier }) {
				all = append(all, one)
			}
		}
	}
	of(x.inText(doc.StudyDescription, ""))
	for i := range doc.ProcedureCodes {
		code := &doc.ProcedureCodes[i]
		of(x.byCode(code, code.Key(), false))
		of(x.inText(code.CodeMeaning, ""))
	}
	root := &doc.ContentItem
	x.place(all, root, &scope{}, ofTheStudy)
}
