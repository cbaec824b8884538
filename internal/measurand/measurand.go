// Package measurand owns the quantity intended to be measured (JCGM 200:2012,
// 2.3) and every way a report may code it: it loads the measurand files, names
// a measurement, and for a measurement it cannot name says what it may be. It
// evaluates nothing.
package measurand

import (
	"slices"
	"strings"
	"sync"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/term"
	"echotally/internal/ucum"
)

// Measurand is one quantity.
type Measurand struct {
	Identifier string
	Place      int // among the measurands of its catalogue
	Title      string
	Short      string // the title when the file gives none
	Unit       ucum.Unit
	Shown      *Shown // how people say a value; nil when the file does not tell
	Quantity   string // what kind of quantity it is, where slips hang on that: diameter; "" when its unit tells enough
	Counts     Counts
	Sign       Sign
	Structure  string // from the file name: tricuspid-valve
	Obtain     *finding.Obtain
	Codings    []Coding

	Repeatability *Repeatability // nil when no published figure is known
	CutOffs       []CutOff
}

// CutOff is a value on which a diagnosis or a treatment turns, so that values may
// heap on one side of it.
type CutOff struct {
	Title  string
	Value  float64 // in the measurand's unit
	Within float64 // how far from it values are counted, on either side
	Source string
}

// Shown is how people say a value: in which unit, to which digit.
type Shown struct {
	Unit     ucum.Unit
	Decimals int
}

// Repeatability is how much repeated readings of the measurand differ, as
// published.
type Repeatability struct {
	Value  float64
	Unit   ucum.Unit // % for a coefficient of variation, a unit of the measurand for a standard deviation
	Kind   RepeatabilityKind
	Source string
}

// RepeatabilityKind says what statistic a repeatability is.
type RepeatabilityKind string

// The kinds of repeatability.
const (
	CoefficientOfVariation RepeatabilityKind = "cv"
	StandardDeviation      RepeatabilityKind = "sd"
)

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

// Sign says what a minus sign of a value means.
type Sign string

// The words of the measurand files. Whether flow away from the transducer is
// written with a minus sign is up to the maker of the scanner.
const (
	PartOfValue Sign = "value"     // the default: a strain of -18 %
	Direction   Sign = "direction" // only where the flow goes as seen from the transducer: the value is its size
)

// Canonical brings a quantity to the measurand's unit, without a minus sign
// that only tells a direction. A unit of another dimension is an error.
func (m *Measurand) Canonical(q ucum.Quantity) (ucum.Quantity, error) {
	out, err := q.To(m.Unit)
	if err == nil && m.Sign == Direction {
		out.Value = out.Value.Abs()
	}
	return out, err
}

// Coding is one way a report may code the measurand.
type Coding struct {
	ConceptName  coding.Key
	Conditions   []Condition // in the order of [term.Fields]
	Dimension    *ucum.Unit  // the measurement's unit must have this dimension
	Section      *Condition  // on the finding site of the section
	ShortLabel   string      // compared without case and padding
	Manufacturer string      // likewise
	Source       string
}

// Condition asks a modifier to be one of the codes, or absent; with both, to be
// absent if it is not one of the codes.
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
	byConcept  map[coding.Key][]candidate // in file order
	lexicon    func() *lexicon            // made when first asked for
	likely     sync.Map                   // what unmatched measurements may well be
}

type candidate struct {
	measurand *Measurand
	coding    *Coding
}

// Find returns the measurand of an identifier, nil when unknown.
func (c *Catalogue) Find(identifier string) *Measurand { return c.byID[identifier] }

// Name returns the measurand whose coding fits the measurement best: most
// satisfied conditions first, then file order. nil when nothing fits. Only
// ConceptName, Modifiers, SectionSite, Unit, Quantity, ShortLabel, AdHoc and Equipment of
// m are looked at.
//
// The name of an ad hoc item says what property was measured, not of what, so
// only a coding that asks for its short label may name it. A post-coordinated
// item (PS3.16 TID 5302) has a name of the maker's own and spells its meaning
// out: when no coding knows the name, the measured property stands for it.
func (c *Catalogue) Name(m *echo.Measurement) *Measurand {
	if best := c.best(m, c.byConcept[m.ConceptName.Key()], false); best != nil || m.Modifiers.MeasuredProperty == nil || m.AdHoc {
		return best
	}
	return c.best(m, c.byConcept[m.Modifiers.MeasuredProperty.Concept.Key()], m.Modifiers.MeasurementDivisor != nil)
}

// best returns the measurand of the coding that fits best; divided leaves out
// codings that do not ask what the value was divided by.
func (c *Catalogue) best(m *echo.Measurement, candidates []candidate, divided bool) *Measurand {
	var best *Measurand
	most := -1
	if len(candidates) == 0 {
		return nil
	}
	unit, modifiers := unitOf{measurement: m}, keysOf{measurement: m}
	for _, k := range candidates {
		if m.AdHoc && k.coding.ShortLabel == "" || divided && !k.coding.asks(term.MeasurementDivisor) {
			continue
		}
		if n, ok := k.coding.satisfied(m, &unit, &modifiers); ok && n > most {
			best, most = k.measurand, n
		}
	}
	return best
}

// asks reports whether the coding has a condition on the field.
func (g *Coding) asks(f term.Field) bool {
	return slices.ContainsFunc(g.Conditions, func(c Condition) bool { return c.Field == f })
}

// unitOf reads the unit of a measurement once, when first asked.
type unitOf struct {
	measurement *echo.Measurement
	read        bool
	unit        ucum.Unit
	understood  bool
}

func (u *unitOf) get() (ucum.Unit, bool) {
	if q := u.measurement.Quantity; q != nil {
		return q.Unit, true // read already
	}
	if !u.read {
		w := u.measurement.Unit
		unit, _, err := ucum.Recognize(w.CodeValue, w.CodingSchemeDesignator, w.CodeMeaning)
		u.unit, u.understood, u.read = unit, err == nil, true
	}
	return u.unit, u.understood
}

// keysOf has the identity of each modifier of a measurement, told once.
type keysOf struct {
	measurement *echo.Measurement
	fields      [maxFields]term.Field
	keys        [maxFields]coding.Key // the zero key for an absent modifier
	known       int
}

// maxFields is how many fields there are at most.
const maxFields = 16

func (k *keysOf) get(f term.Field) (key coding.Key, stated bool) {
	for i := range k.known {
		if k.fields[i] == f {
			return k.keys[i], k.keys[i] != coding.Key{}
		}
	}
	if m := ModifierOf(&k.measurement.Modifiers, f); m != nil {
		key, stated = m.Concept.Key(), true
	}
	if k.known < maxFields && stated == (key != coding.Key{}) {
		k.fields[k.known], k.keys[k.known] = f, key
		k.known++
	}
	return key, stated
}

// decisive is what a condition on the divisor or on the dimension of the unit
// counts, more than all others together: what a value is divided by makes
// another quantity of it, a view or a method only refines it.
const decisive = 20

// satisfied counts the conditions when all hold.
func (g *Coding) satisfied(m *echo.Measurement, unit *unitOf, modifiers *keysOf) (int, bool) {
	for i := range g.Conditions {
		if key, stated := modifiers.get(g.Conditions[i].Field); !g.Conditions[i].holds(key, stated) {
			return 0, false
		}
	}
	n := len(g.Conditions)
	for i := range g.Conditions {
		if g.Conditions[i].Field == term.MeasurementDivisor {
			n += decisive
			break
		}
	}
	if g.Section != nil {
		if !g.Section.Holds(m.SectionSite) {
			return 0, false
		}
		n++
	}
	for _, pair := range [...][2]string{{g.ShortLabel, m.ShortLabel}, {g.Manufacturer, m.Equipment.Manufacturer}} {
		if pair[0] == "" {
			continue
		}
		if !sameText(pair[0], pair[1]) {
			return 0, false
		}
		n++
	}
	if g.Dimension != nil {
		if u, ok := unit.get(); !ok || !u.Convertible(*g.Dimension) {
			return 0, false
		}
		n += decisive
	}
	return n, true
}

func sameText(a, b string) bool { return strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b)) }

// Holds reports whether a modifier, nil when absent, meets the condition.
func (c Condition) Holds(m *echo.Modifier) bool {
	if m == nil {
		return c.Absent
	}
	return c.holds(m.Concept.Key(), true)
}

func (c *Condition) holds(key coding.Key, stated bool) bool {
	if !stated {
		return c.Absent
	}
	for _, k := range c.Codes {
		if k == key {
			return true
		}
	}
	return false
}

// ModifierOf returns the effective modifier of a field, nil when absent.
func ModifierOf(m *echo.Modifiers, f term.Field) *echo.Modifier {
	switch f {
	case term.FindingSite:
		return m.FindingSite
	case term.TopographicalModifier:
		return m.TopographicalModifier
	case term.Laterality:
		return m.Laterality
	case term.ImageMode:
		return m.ImageMode
	case term.ImageView:
		return m.ImageView
	case term.FlowDirection:
		return m.FlowDirection
	case term.MeasurementMethod:
		return m.MeasurementMethod
	case term.CardiacCyclePoint:
		return m.CardiacCyclePoint
	case term.RespiratoryCyclePoint:
		return m.RespiratoryCyclePoint
	case term.Derivation:
		return m.Derivation
	case term.SelectionStatus:
		return m.SelectionStatus
	case term.MeasurementDivisor:
		return m.MeasurementDivisor
	case term.MeasuredProperty:
		return m.MeasuredProperty
	case term.MeasurementType:
		return m.MeasurementType
	case term.Stage:
		return m.Stage
	}
	return nil
}
