package extract

import (
	"slices"

	"echotally/internal/echo"
	"echotally/internal/sr"
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
	statements   []echo.Statement
	segments     []echo.Segment
}

func (x *extractor) source(item *sr.ContentItem) echo.Source {
	return echo.Source{SOPInstanceUID: x.doc.SOPInstanceUID, Item: item.Identifier.String()}
}

// read extracts everything from a document.
func read(doc *sr.Document, c Catalogues) *extractor {
	x := &extractor{doc: doc, c: c}
	x.visit(&doc.ContentItem, scope{})
	return x
}

func (x *extractor) visit(item *sr.ContentItem, outer scope) {
	if item.Reference != nil {
		return // its target is read where it stands
	}
	here := outer
	if item.RelationshipType == sr.InferredFrom {
		here.inferred = true
	}
	level := levelOf(item, outer.depth)
	here.modifiers, here.others = stated(item, level, outer.modifiers.FindingSite)
	own := here.modifiers
	inherit(&here.modifiers, outer.modifiers)
	if ctx := x.doc.ContextOf(item, nil); ctx.Subject != nil {
		here.fetus = ctx.SubjectClass.Key() == fetusSubject
	}
	switch item.ValueType {
	case sr.NumValue:
		x.measurements = append(x.measurements, x.measurement(item, here))
		src := x.source(item)
		here.measurement, here.inferred = &src, false
	case sr.ContainerValue:
		here.enter(item, level, own.FindingSite)
	}
	here.wall = x.wallScope(item, here)
	x.segment(item, &here)
	x.state(item, here)
	here.depth++
	for i := range item.ContentItems {
		x.visit(&item.ContentItems[i], here)
	}
}

// enter takes note of a container.
func (s *scope) enter(item *sr.ContentItem, level echo.Level, site *echo.Modifier) {
	s.group = item.Identifier.String()
	if item.ConceptName.Key() == adHocMeasurements {
		s.adHoc = true
	}
	if t, ok := tellingOf[item.ConceptName.Key()]; ok {
		s.telling = t
	}
	s.earlier = s.earlier || slices.Contains(earlierFindings, item.ConceptName.Key())
	switch {
	case site != nil:
		s.sectionSite, s.section = site, site.Concept.CodeMeaning
	case level == echo.SectionLevel:
		s.section = item.ConceptName.CodeMeaning
	}
}
