package extract

import (
	"echotally/internal/echo"
	"echotally/internal/sr"
	"echotally/internal/ucum"
)

// scope is what holds at a place of the tree: it is handed down, each node
// laying its own statements over it, so that a tree is read in one pass.
type scope struct {
	depth       int
	modifiers   echo.Modifiers // effective
	others      []echo.Coded   // of the node itself
	sectionSite *echo.Modifier
	section     string
	group       string
	measurement *echo.Source // nearest NUM around
	inferred    bool         // an INFERRED FROM stands between that NUM and here
	adHoc       bool
	fetus       bool
	telling     telling
	earlier     bool // below a heading of an earlier study's findings
	wall        wallScope
}

// extractor reads one document.
type extractor struct {
	doc          *sr.Document
	c            Catalogues
	measurements []echo.Measurement
	equipment    echo.Equipment
	statements   []echo.Statement
	segments     []echo.Segment
	worded       []echo.Worded
	spoken       bool       // a sentence about the study was met
	walled       bool       // a code of the document is a part of the left ventricular wall
	personal     bool       // one may name what is said of the person
	concepts     []*concept // of the codes of the document
	known        *memory
	room         []ucum.Quantity // for those of measurements
}

func (x *extractor) source(item *sr.ContentItem) echo.Source {
	return echo.Source{SOPInstanceUID: x.doc.SOPInstanceUID, Item: item.Identifier.String()}
}

// read extracts everything from a document.
func read(doc *sr.Document, c Catalogues) *extractor {
	x := &extractor{doc: doc, c: c, equipment: equipment(doc), known: remember(c), walled: len(doc.Codes) == 0, personal: len(doc.Codes) == 0}
	x.concepts = x.known.numbered[:0]
	for _, code := range doc.Codes {
		c := x.known.concept(code)
		x.concepts = append(x.concepts, c)
		x.walled, x.personal = x.walled || c.segment, x.personal || c.personal
	}
	if doc.Numbers > 0 {
		x.measurements = make([]echo.Measurement, 0, doc.Numbers)
	}
	x.describe(doc)
	x.visit(&doc.ContentItem, &scope{})
	x.known.numbered = x.concepts
	memories.Put(x.known)
	x.known, x.concepts = nil, nil
	return x
}

func (x *extractor) visit(item *sr.ContentItem, outer *scope) {
	if item.Reference != nil {
		return // its target is read where it stands
	}
	here := *outer
	if item.RelationshipType == sr.InferredFrom {
		here.inferred = true
	}
	level := levelOf(item, outer.depth)
	here.modifiers, here.others = x.stated(item, level, outer.modifiers.FindingSite)
	ownSite := here.modifiers.FindingSite
	inherit(&here.modifiers, &outer.modifiers)
	if ctx := item.Context(); ctx.Subject != nil {
		here.fetus = ctx.SubjectClass.Key() == fetusSubject
	}
	switch item.ValueType {
	case sr.NumValue:
		m := x.measurement(item, &here)
		if m.Role == echo.Result && m.Measurand == "" {
			if _, ok := x.gradedByNumber(item); ok {
				m.Role = echo.Grade
			}
		}
		here.measurement, here.inferred = &m.Source, false
	case sr.ContainerValue:
		x.enter(&here, item, level, ownSite)
	}
	if x.walled {
		here.wall = x.wallScope(item, here.wall)
		x.segment(item, &here)
	}
	x.state(item, &here)
	here.depth++
	for i := range item.ContentItems {
		x.visit(&item.ContentItems[i], &here)
	}
}

// quantity keeps a quantity of a measurement.
func (x *extractor) quantity(q ucum.Quantity) *ucum.Quantity {
	if len(x.room) == 0 {
		x.room = make([]ucum.Quantity, min(max(2*x.doc.Numbers, 2), 64))
	}
	kept := &x.room[0]
	x.room = x.room[1:]
	*kept = q
	return kept
}

// parent is the NUM around, nil for none.
func (s *scope) parent() *echo.Source {
	if s.measurement == nil {
		return nil
	}
	source := *s.measurement
	return &source
}

// enter takes note of a container.
func (x *extractor) enter(s *scope, item *sr.ContentItem, level echo.Level, site *echo.Modifier) {
	s.group = item.Identifier.String()
	if item.Name == adHocMeasurements {
		s.adHoc = true
	}
	name := x.nameOf(item)
	if name.tells {
		s.telling = name.telling
	}
	s.earlier = s.earlier || name.earlier
	switch {
	case site != nil:
		s.sectionSite, s.section = site, site.Concept.CodeMeaning
	case level == echo.SectionLevel:
		s.section = item.ConceptName.CodeMeaning
	}
}
