package repeats

import (
	"slices"
	"strings"

	"echotally/internal/coding"
	"echotally/internal/counted"
	"echotally/internal/echo"
	"echotally/internal/measurand"
	"echotally/internal/term"
)

// ofSeveralPlanes are the measurands of one image plane, and those that another
// measurand narrows by its view while they leave view and method open: of both,
// two readings without a view may be of two planes.
func ofSeveralPlanes(c *measurand.Catalogue) map[string]bool {
	asks := func(k *measurand.Coding, field term.Field) bool {
		return slices.ContainsFunc(k.Conditions, func(c measurand.Condition) bool { return c.Field == field && len(c.Codes) > 0 })
	}
	views := func(k *measurand.Coding) bool { return asks(k, term.ImageView) }
	narrowed := map[coding.Key]bool{}
	for _, m := range c.Measurands {
		for i := range m.Codings {
			if views(&m.Codings[i]) {
				narrowed[m.Codings[i].ConceptName] = true
			}
		}
	}
	out := map[string]bool{}
	for _, m := range c.Measurands {
		out[m.Identifier] = m.Obtain != nil && m.Obtain.View != "" && !strings.Contains(m.Obtain.View, " and ") ||
			slices.ContainsFunc(m.Codings, func(k measurand.Coding) bool {
				return narrowed[k.ConceptName] && !views(&k) && !asks(&k, term.MeasurementMethod)
			})
	}
	return out
}

// repeatKey is what two readings must share to be repeats of each other.
type repeatKey struct {
	report    string // SOP Instance UID
	measurand string
	modifiers [8]string // codes
}

func repeatOf(m *echo.Measurement) repeatKey {
	k := repeatKey{report: m.Source.SOPInstanceUID, measurand: m.Measurand}
	for i, one := range []*echo.Modifier{
		m.Modifiers.FindingSite, m.Modifiers.ImageMode, m.Modifiers.ImageView, m.Modifiers.FlowDirection, m.Modifiers.MeasurementMethod,
		m.Modifiers.CardiacCyclePoint, m.Modifiers.RespiratoryCyclePoint, m.Modifiers.Stage,
	} {
		if one != nil {
			k.modifiers[i] = one.Concept.CodeValue
		}
	}
	return k
}

// Beats gathers the readings of each report that repeat each other: beats of the
// same view, phase and method.
type Beats struct {
	planes   map[string]bool
	repeated map[repeatKey]*counted.Spread
	order    []repeatKey
	untold   map[string]int
}

// Beats are those of another study, none gathered yet.
func (f *Finder) Beats() *Beats {
	return &Beats{planes: f.planes, repeated: map[repeatKey]*counted.Spread{}, untold: map[string]int{}}
}

// Add takes in a measurement whose value counts for a quantity.
func (b *Beats) Add(m *echo.Measurement, of *counted.Quantity) {
	// Beats of different reports, views, phases or methods are no repeats of
	// each other; where an image has no view, that cannot be told.
	if m.Modifiers.ImageView == nil && (m.Modifiers.ImageMode != nil || b.planes[of.Measurand]) {
		b.untold[of.Measurand]++
		return
	}
	key := repeatOf(m)
	if b.repeated[key] == nil {
		b.repeated[key] = &counted.Spread{Quantity: of}
		b.order = append(b.order, key)
	}
	b.repeated[key].Readings = append(b.repeated[key].Readings, m.Canonical.Value.Float())
}

// Spreads are what was read several times, in the order of the study.
func (b *Beats) Spreads() []counted.Spread {
	var out []counted.Spread
	for _, key := range b.order {
		if len(b.repeated[key].Readings) > 1 {
			out = append(out, *b.repeated[key])
		}
	}
	return out
}

// Untold is of how many quantities several readings lack a view that would tell
// whether they repeat each other.
func (b *Beats) Untold() int {
	out := 0
	for _, n := range b.untold {
		if n > 1 {
			out++
		}
	}
	return out
}
