package extract

import (
	"slices"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/sr"
	"echotally/internal/statement"
	"echotally/internal/term"
	"echotally/internal/ucum"
)

// concept is what the catalogues and the tables of this package know of one code.
type concept struct {
	standard  coding.CodedConcept
	modifiers []*echo.Modifier        // that the code has been, one for each level; not to be written to
	makes     []*statement.Definition // the statements the code makes
	telling   telling                 // of a heading, if tells
	unit      *recognized             // that the code is, once it was read as one
	tells     bool
	silent    bool
	earlier   bool // a heading of an earlier study's findings
	personal  bool // a name of what is said of the person
	segment   bool // a part of the left ventricular wall
	scheme    bool // a scale for the wall
}

// recognized is a unit as written, understood.
type recognized struct {
	unit  ucum.Unit
	alias bool
	err   error
}

func (k *memory) lookUp(code *sr.Code) *concept {
	key := code.Key
	out := &concept{standard: code.Concept.Standard(), silent: silent(key), earlier: slices.Contains(earlierFindings, key), personal: ofSubject(key)}
	out.telling, out.tells = tellingOf[key]
	if s := k.of.Statements; s != nil {
		out.makes = s.ByCode(key)
	}
	if m := k.of.Measurands; m != nil && m.Terms != nil {
		site := m.Terms.Of(term.FindingSite, key)
		out.segment, out.scheme = site != nil && site.Wall != "", m.Terms.Of(term.ScoringScheme, key) != nil
	}
	return out
}

// nameOf is the concept an item is named by, valueOf that of a CODE item.
func (x *extractor) nameOf(item *sr.ContentItem) *concept {
	return x.concept(item.NameNumber, item.ConceptName, item.Name)
}

func (x *extractor) valueOf(item *sr.ContentItem) *concept {
	return x.concept(item.CodeNumber, item.ConceptCode, item.Code)
}

// modifier is the value of a CODE item as a modifier. Measurements share it.
func (x *extractor) modifier(item *sr.ContentItem, level echo.Level) *echo.Modifier {
	c := x.valueOf(item)
	for _, m := range c.modifiers {
		if m.Level == level {
			return m
		}
	}
	m := &echo.Modifier{Concept: c.standard, Written: *item.ConceptCode, Level: level}
	c.modifiers = append(c.modifiers, m)
	return m
}

// recognize reads the unit of a value.
func (x *extractor) recognize(mv *sr.MeasuredValue) *recognized {
	var c *concept
	if mv.UnitsNumber > 0 {
		if c = x.concepts[mv.UnitsNumber-1]; c.unit != nil {
			return c.unit
		}
	}
	out := &recognized{}
	out.unit, out.alias, out.err = ucum.Recognize(mv.Units.CodeValue, mv.Units.CodingSchemeDesignator, mv.Units.CodeMeaning)
	if c != nil {
		c.unit = out
	}
	return out
}
