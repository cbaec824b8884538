package extract

import (
	"math"
	"slices"
	"strings"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/sr"
	"echotally/internal/term"
	"echotally/internal/ucum"
)

// wallScoreIndex is LV Wall Motion Score Index. Its modifier says on which scale
// the segments around it are scored.
var wallScoreIndex = key("DCM", "125202")

// wallScope is what holds of the segments of the left ventricular wall at a place
// of the tree.
type wallScope struct {
	scheme *coding.CodedConcept  // CID 12238
	sites  []coding.CodedConcept // the segments an item around is about
	of     int                   // 1 + place of the segment whose item is around; 0 for none
}

// wallScope adds what a node says itself to what holds around it: the scale, by
// the node or by the score index in a container, and the segments.
func (x *extractor) wallScope(item *sr.ContentItem, out wallScope) wallScope {
	if x.c.Measurands == nil || x.c.Measurands.Terms == nil {
		return out
	}
	for i := range item.ContentItems {
		child := item.ContentItems[i].Target()
		if child == nil {
			continue
		}
		if scheme := x.scheme(child); scheme != nil {
			out.scheme = scheme
		}
		if item.ValueType != sr.ContainerValue || child.Name != wallScoreIndex {
			continue
		}
		for k := range child.ContentItems {
			if scheme := x.scheme(child.ContentItems[k].Target()); scheme != nil {
				out.scheme = scheme
			}
		}
	}
	if own := x.sitesOf(item); len(own) > 0 {
		out.sites, out.of = own, 0
	}
	return out
}

// scheme is the scale an item names, nil when it names none.
func (x *extractor) scheme(item *sr.ContentItem) *coding.CodedConcept {
	if item == nil || item.ConceptCode == nil || !x.valueOf(item).scheme {
		return nil
	}
	out := item.ConceptCode.Standard()
	return &out
}

// sitesOf lists the segments a node is about: by its finding sites, its name or
// its value.
func (x *extractor) sitesOf(item *sr.ContentItem) []coding.CodedConcept {
	var out []coding.CodedConcept
	add := func(c *concept) {
		if c.segment {
			out = append(out, c.standard)
		}
	}
	for i := range item.ContentItems {
		if child := item.ContentItems[i].Target(); child != nil && child.ConceptCode != nil && child.Name == findingSite {
			add(x.valueOf(child))
		}
	}
	if len(out) == 0 {
		add(x.nameOf(item))
	}
	if len(out) == 0 && item.ConceptCode != nil && item.Name != findingSite {
		add(x.valueOf(item))
	}
	return out
}

// segment adds what an item says of how segments move, or adds a number to what
// the item around it said. The tree of the template is not relied on: writers put
// the segment into a modifier, the name or the value, and the number beside the
// finding or below it.
func (x *extractor) segment(item *sr.ContentItem, here *scope) {
	if len(here.wall.sites) == 0 || here.telling != ofTheStudy || here.earlier || here.fetus {
		return
	}
	said := echo.Segment{Scheme: here.wall.scheme, Stage: here.modifiers.Stage, Source: x.source(item)}
	switch item.ValueType {
	case sr.CodeValue:
		if said.Finding = x.motion(item); said.Finding == nil {
			return
		}
		here.wall.of = len(x.segments) + 1
	case sr.NumValue:
		m := &x.measurements[len(x.measurements)-1]
		if !x.scores(m, here.wall) {
			return
		}
		m.Role, said.Score = echo.SegmentScore, m.Quantity
		if of := here.wall.of; of > 0 {
			for i := range here.wall.sites {
				x.segments[of-1+i].Score = m.Quantity
			}
			return
		}
	default:
		return
	}
	for _, site := range here.wall.sites {
		said.Site = site
		x.segments = append(x.segments, said)
	}
}

// motion is the finding of a CODE item about segments, nil when it says something
// else of them. The value of an item named by a segment is its finding, whatever
// the code.
func (x *extractor) motion(item *sr.ContentItem) *coding.CodedConcept {
	if item.ConceptCode == nil {
		return nil
	}
	if !x.nameOf(item).segment && x.c.Measurands.Terms.Of(term.WallMotion, item.Code) == nil {
		return nil
	}
	out := item.ConceptCode.Standard()
	return &out
}

// scores reports whether a NUM item scores the segments it is about: without
// unit, and named by the segment or by the word score, or a whole number below a
// finding. A strain or a thickness of a segment scores nothing.
func (x *extractor) scores(m *echo.Measurement, here wallScope) bool {
	if m.Measurand != "" || m.Role != echo.Result || m.Quantity != nil && !m.Quantity.Unit.Same(ucum.Unit{}) {
		return false
	}
	site := x.c.Measurands.Terms.Of(term.FindingSite, m.ConceptName.Key())
	if site != nil && site.Wall != "" || slices.Contains(strings.Fields(strings.ToLower(m.ConceptName.CodeMeaning)), "score") {
		return true
	}
	return here.of > 0 && m.Quantity != nil && m.Quantity.Value.Float() == math.Trunc(m.Quantity.Value.Float())
}
