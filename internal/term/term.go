// Package term owns readable names for the standard's codes: a name such as
// apical-four-chamber stands for a set of codes that mean the same, under the
// modifier it may be used for. Abbreviations of the trade come with them.
package term

import (
	"maps"
	"slices"

	"echotally/internal/coding"
	"echotally/internal/term/abbreviation"
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
	Stage                 Field = "stage"
)

// Fields that are no modifiers: what is said of how a segment of the wall moves,
// and the scale it is scored on.
const (
	WallMotion    Field = "wallMotion"
	ScoringScheme Field = "scoringScheme"
)

// Fields without codes, whose terms have an order.
const (
	Window Field = "window" // places on the chest where the transducer may stand, in scanning order
	Grade  Field = "grade"  // steps of a lesion's grade, the least first
)

// Fields lists the fields that are modifiers in order.
func Fields() []Field {
	return []Field{
		FindingSite, TopographicalModifier, Laterality, ImageMode, ImageView, FlowDirection, MeasurementMethod,
		CardiacCyclePoint, RespiratoryCyclePoint, Derivation, SelectionStatus, MeasurementDivisor, MeasuredProperty, MeasurementType,
		Stage,
	}
}

// Unit names the units in which values are read from a screen, by the UCUM codes that
// a measurand may have; it has neither codes of concepts nor an order.
const Unit Field = "unit"

// named lists all fields.
func named() []Field { return append(Fields(), WallMotion, ScoringScheme, Window, Grade, Unit) }

// ordered reports whether the terms of a field have an order and no codes.
func (f Field) ordered() bool { return f == Window || f == Grade }

// Wall says of what model a part of the left ventricular wall is.
type Wall string

// Parts of the wall; "" for any other finding site.
const (
	WallSegment Wall = "segment" // of the models of 16, 17 and 18 segments
	WallRegion  Wall = "region"  // of a projection, larger than a segment
)

// Motion is how a part of the wall moves, as far as it was seen.
type Motion string

// Motions; "" when a term does not tell.
const (
	Unseen   Motion = "unseen"
	Normal   Motion = "normal"
	Abnormal Motion = "abnormal"
)

// Region is what part of an image a value is read in (DICOM PS3.3, C.8.5.5.1.1, Region
// Spatial Format).
type Region string

// Regions; "" when a mode does not tell.
const (
	PlaneRegion    Region = "plane"
	MotionRegion   Region = "motion"
	SpectralRegion Region = "spectral"
)

// Term is one readable name.
type Term struct {
	Name   string // apical-four-chamber
	Title  string // Apical four-chamber
	Field  Field
	Codes  []coding.Key // canonical; the first is the one to write
	Window string       // of an image view: one of [Catalogue.Ordered], "" when the view does not tell
	Shows  []string     // of an image view: names of the valves that lie in its plane
	Place  int          // in the order of the field, from 1 on; of a finding site: among the valves, 0 when it is none
	How    string       // of an image view: how a study with it is done, such as transthoracic; "" when the view does not tell
	Wall   Wall         // of a finding site: what part of the left ventricular wall it is

	Region  Region             // of an image mode: what part of an image its values are read in
	SeenAs  []string           // of an image mode that images have no mark of: the modes of the images it is seen in
	Newest  bool               // of a selection status: the value was picked as the most recent one
	Several bool               // of a derivation: the value stands for several beats
	Moves   Motion             // of a finding of the wall
	Scores  map[string]float64 // of a finding of the wall, by scoring scheme
}

// Concept is the coded concept to write for the term.
func (t *Term) Concept() coding.CodedConcept {
	key := t.Codes[0]
	return coding.CodedConcept{CodeValue: key.CodeValue, CodingSchemeDesignator: key.CodingSchemeDesignator, CodeMeaning: t.Title}
}

// Images are the modes of the images in which the mode is seen.
func (t *Term) Images() []string {
	if len(t.SeenAs) > 0 {
		return t.SeenAs
	}
	return []string{t.Name}
}

// Catalogue holds all terms.
type Catalogue struct {
	abbreviation.Table
	byName map[Field]map[string]*Term
	byCode map[Field]map[coding.Key]*Term
	steps  map[string]float64 // by UCUM code
}

// Find returns the term of a name, nil when unknown.
func (c *Catalogue) Find(f Field, name string) *Term { return c.byName[f][name] }

// Of returns the term a code belongs to, nil when none does.
func (c *Catalogue) Of(f Field, code coding.Key) *Term { return c.byCode[f][code] }

// Ordered lists the names of a field that have a place, in their order: windows,
// grades, and of the finding sites the valves.
func (c *Catalogue) Ordered(f Field) []string {
	var out []string
	for name, t := range c.byName[f] {
		if t.Place > 0 {
			out = append(out, name)
		}
	}
	slices.SortFunc(out, func(a, b string) int { return c.byName[f][a].Place - c.byName[f][b].Place })
	return out
}

// Step is the least step at which a value in the unit of a UCUM code is read, in that
// unit; 0 where none is known, as of what is computed.
func (c *Catalogue) Step(unit string) float64 { return c.steps[unit] }

// Names lists the names of a field, sorted.
func (c *Catalogue) Names(f Field) []string { return slices.Sorted(maps.Keys(c.byName[f])) }
