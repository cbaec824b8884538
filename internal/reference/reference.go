// Package reference owns tables of reference values by body size: what a
// published study of healthy children gives as mean and spread of a diameter at
// a body surface area, and the z-score that follows. It loads the files and
// computes; it judges nothing.
//
// A table is one publication. Tables of different publications give different
// z-scores for one child, so a z-score means nothing without its table.
package reference

import (
	"math"
	"slices"
	"strings"
	"unicode"

	"echotally/internal/measurand"
	"echotally/internal/ucum"
)

// Table is the reference values of one publication.
type Table struct {
	Identifier, Title string
	Draft             bool
	Names             []string // words by which a report names the table
	Population        string
	Citation, Locator string
	Origin            string // where the numbers come from
	Formula           string // of body surface area, as the publication used it
	Age, Surface      Range  // of the children measured: years, m2
	Form              Form
	Values            []*Value // in file order
}

// Value is what a table gives for one measurand.
type Value struct {
	Measurand    *measurand.Measurand
	Unit         ucum.Unit // the coefficients are for the quantity in it
	coefficients []float64 // in the order of the form
}

// Range is a range with both ends included; nil is open.
type Range struct{ Low, High *float64 }

// Holds reports whether x lies in the range.
func (r Range) Holds(x float64) bool {
	return (r.Low == nil || x >= *r.Low) && (r.High == nil || x <= *r.High)
}

// Find gives the value of a measurand, nil when the table has none.
func (t *Table) Find(identifier string) *Value {
	for _, v := range t.Values {
		if v.Measurand.Identifier == identifier {
			return v
		}
	}
	return nil
}

// Z is the z-score of a quantity y, in the unit of its measurand, at a body
// surface area in m2. NaN where the form gives none.
func (t *Table) Z(v *Value, y, surface float64) float64 {
	factor, err := v.Measurand.Unit.FactorTo(v.Unit)
	if err != nil {
		return math.NaN()
	}
	f, _ := factor.Float64()
	z := t.Form.z(y*f, surface, v.coefficients)
	if math.IsInf(z, 0) {
		return math.NaN()
	}
	return z
}

// Catalogue is the loaded tables, sorted by identifier.
type Catalogue struct{ Tables []*Table }

// Named gives the tables a text names by one of their words.
func (c *Catalogue) Named(text string) []*Table {
	said := words(text)
	var out []*Table
	for _, t := range c.Tables {
		if slices.ContainsFunc(t.Names, func(n string) bool { return contains(said, words(n)) }) {
			out = append(out, t)
		}
	}
	return out
}

// Of gives the tables that have a value for a measurand.
func (c *Catalogue) Of(measurand string) []*Table {
	var out []*Table
	for _, t := range c.Tables {
		if t.Find(measurand) != nil {
			out = append(out, t)
		}
	}
	return out
}

func words(text string) []string {
	return strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
}

// contains reports whether the words of the name stand together in what was
// said.
func contains(said, name []string) bool {
	for i := 0; len(name) > 0 && i+len(name) <= len(said); i++ {
		if slices.Equal(said[i:i+len(name)], name) {
			return true
		}
	}
	return false
}
