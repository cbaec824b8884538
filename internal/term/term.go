// Package term owns readable names for the standard's codes: a name such as
// apical-four-chamber stands for a set of codes that mean the same, under the
// modifier it may be used for.
package term

import (
	"io/fs"

	"echotally/internal/coding"
)

// Field is the modifier a term may be used for, in lower camel case as in the
// data files: findingSite, imageView, ...
type Field string

// Fields in the order they are listed.
const (
	FindingSite           Field = "findingSite"
	TopographicalModifier Field = "topographicalModifier"
	Laterality            Field = "laterality"
	ImageMode             Field = "imageMode"
	ImageView             Field = "imageView"
	FlowDirection         Field = "flowDirection"
	MeasurementMethod     Field = "measurementMethod"
	CardiacCyclePoint     Field = "cardiacCyclePoint"
	RespiratoryCyclePoint Field = "respiratoryCyclePoint"
	Derivation            Field = "derivation"
	SelectionStatus       Field = "selectionStatus"
	MeasurementDivisor    Field = "measurementDivisor"
	MeasuredProperty      Field = "measuredProperty"
	MeasurementType       Field = "measurementType"
)

// Term is one readable name.
type Term struct {
	Name   string // apical-four-chamber
	Title  string // Apical four-chamber
	Field  Field
	Codes  []coding.Key // canonical; the first is the one to write
	Window string       // of an image view: parasternal, apical, subcostal, suprasternal, right-parasternal
}

// Catalogue holds all terms.
type Catalogue struct {
	byName map[Field]map[string]*Term
	byCode map[Field]map[coding.Key]*Term
}

// Load reads terms.yaml from each file system in turn (shipped first, then
// site); the error joins all faults.
func Load(layers ...fs.FS) (*Catalogue, error) { return &Catalogue{}, nil }

// Find returns the term of a name, nil when unknown.
func (c *Catalogue) Find(f Field, name string) *Term { return c.byName[f][name] }

// Of returns the term a code belongs to, nil when none does.
func (c *Catalogue) Of(f Field, code coding.Key) *Term { return c.byCode[f][code] }

// Names lists the names of a field, sorted.
func (c *Catalogue) Names(f Field) []string { return nil }
