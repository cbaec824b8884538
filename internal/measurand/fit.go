package measurand

import (
	"slices"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/term"
)

// How far the modifiers of a measurement change a suggestion made by words. They
// bring it nearer to certain, or make it less likely; none rules it out, since
// reports put much under the heading of the nearest structure.
const (
	siteAgrees    = 0.3 // of what is lacking to certain
	flowAgrees    = 0.2
	modeAgrees    = 0.1
	otherValve    = 0.6 // of the score
	otherFlow     = 0.6
	otherMode     = 0.8
	certain, none = 1.0, 0.0
)

// fitted is a score by words, changed by what the record says of site, flow and
// mode; and which of these agree.
func (c *Catalogue) fitted(m *echo.Measurement, d *Measurand, score float64) (float64, []string) {
	var why []string
	agree := func(share float64, what string) {
		score += (certain - score) * share
		why = append(why, what+" agrees")
	}
	differ := func(share float64, what string) {
		score *= share
		why = append(why, "another "+what)
	}
	switch site := c.siteOf(m); {
	case site == nil:
	case d.isOf(site):
		agree(siteAgrees, "site "+site.Title)
	case c.lexicon().valves[site.Name] && c.lexicon().valves[d.Structure]:
		differ(otherValve, "valve")
	}
	for _, f := range []struct {
		field         term.Field
		agrees, other float64
		what          string
	}{{term.FlowDirection, flowAgrees, otherFlow, "flow"}, {term.ImageMode, modeAgrees, otherMode, "mode"}} {
		x := ModifierOf(&m.Modifiers, f.field)
		if x == nil {
			continue
		}
		switch codes, absent := d.conditions(f.field); {
		case slices.Contains(codes, x.Concept.Key()):
			agree(f.agrees, f.what)
		case len(codes) > 0 && !absent:
			differ(f.other, f.what)
		}
	}
	return max(score, none), why
}

// siteOf is where it was measured, nil when the record does not say or no term
// names it.
func (c *Catalogue) siteOf(m *echo.Measurement) *term.Term {
	for _, x := range []*echo.Modifier{m.Modifiers.FindingSite, m.SectionSite} {
		if x == nil {
			continue
		}
		if t := c.Terms.Of(term.FindingSite, x.Concept.Key()); t != nil {
			return t
		}
	}
	return nil
}

// isOf reports whether the measurand is one of a site: by its file, or by what
// one of its codings asks for.
func (m *Measurand) isOf(site *term.Term) bool {
	if m.Structure == site.Name {
		return true
	}
	codes, _ := m.conditions(term.FindingSite)
	for _, g := range m.Codings {
		if g.Section != nil {
			codes = append(codes, g.Section.Codes...)
		}
	}
	return slices.ContainsFunc(codes, func(k coding.Key) bool { return slices.Contains(site.Codes, k) })
}

// conditions are the codes that the codings of a measurand ask of a field, and
// whether one of them lets it be absent, or asks nothing.
func (m *Measurand) conditions(f term.Field) (codes []coding.Key, free bool) {
	for _, g := range m.Codings {
		i := slices.IndexFunc(g.Conditions, func(c Condition) bool { return c.Field == f })
		if i < 0 {
			free = true
			continue
		}
		codes = append(codes, g.Conditions[i].Codes...)
		free = free || g.Conditions[i].Absent
	}
	return codes, free
}

// Confidence says how sure a suggestion is.
type Confidence string

// Degrees of confidence. Only what is sure or likely is proposed in a draft.
const (
	Sure   Confidence = "sure"
	Likely Confidence = "likely"
	Unsure Confidence = "unsure"
)

// How sure a suggestion is: by its score, and by how far the next one lies below.
const (
	sureScore = 0.8
	clearly   = 0.09
)

// judge says of suggestions, best first, how sure each is.
func judge(list []Suggestion) {
	for i := range list {
		s := &list[i]
		switch {
		case i == 0 && s.Score >= sureScore && (len(list) == 1 || s.Score-list[1].Score >= clearly):
			s.Confidence = Sure
		case s.Score >= likelyScore && s.Score >= nearTheBest*list[0].Score:
			s.Confidence = Likely
		default:
			s.Confidence = Unsure
		}
	}
}
