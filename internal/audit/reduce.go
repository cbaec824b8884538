package audit

import (
	"slices"
	"strings"
	"time"
	"unique"

	"echotally/internal/check"
	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/library"
	"echotally/internal/measurand"
	"echotally/internal/packed"
	"echotally/internal/statement"
	"echotally/internal/term"
)

// Reducer reduces judged studies to what is counted: the one place that says what
// figures take from a study. It keeps one [Rule] per rule and one [Quantity] per
// measurand, so that ten thousand studies share them. It is for one goroutine.
type Reducer struct {
	set        *library.Library
	scales     Scales
	rules      []*Rule // in the order of the set
	places     map[string]int
	quantities map[string]*Quantity
	planes     map[string]bool // measurands that may be of several planes, which only a stated view tells apart
	form       packed.Form
}

// NewReducer makes a reducer for the studies a rule set has judged.
func NewReducer(set *library.Library) *Reducer {
	r := &Reducer{set: set, scales: ScalesOf(set), places: make(map[string]int, len(set.Rules)), quantities: map[string]*Quantity{}, planes: ofSeveralPlanes(set.Measurands)}
	bases := map[string]bool{}
	for _, p := range set.Protocols {
		bases[p.Identifier] = p.Base
	}
	for i, one := range set.Rules {
		a := one.File.AppliesTo
		// Asked of a base protocol as well, it is asked of every such study.
		triggered := len(a.Protocol) > 0 && !slices.ContainsFunc(a.Protocol, func(p string) bool { return bases[p] })
		r.places[one.File.Identifier] = i
		r.rules = append(r.rules, &Rule{
			Identifier: one.File.Identifier, Title: one.File.Title, Structure: one.Structure, Kind: one.Kind, Severity: one.Severity,
			Conditional: a.When != "" || len(a.Stated) > 0 || triggered, Measurands: one.MeasurandNames(), PerLab: one.File.PerLab, OpenPerLab: one.File.OpenPerLab,
		})
	}
	for _, m := range set.Measurands.Measurands {
		r.form.Texts = append(r.form.Texts, m.Identifier)
	}
	return r
}

// Reduce takes from a study what is counted. What the lab's own systems know
// (site, staff, times, waivers) is for the caller to add.
func (r *Reducer) Reduce(s *echo.Study, protocols finding.Protocols, results *Outcomes, joint *finding.Reconciliation) Study {
	out := Study{UID: strings.Clone(s.StudyInstanceUID), Images: len(s.Images)}
	// A date that cannot be read stays zero and is shown as such.
	out.Date, _ = time.Parse("20060102", s.StudyDate)
	if joint != nil {
		for _, round := range joint.Suspects {
			for _, suspect := range round {
				out.Suspect = append(out.Suspect, suspect.Title)
			}
		}
	}
	out.Case, out.Medium = r.caseOf(s), mediumOf(s, r.set)
	r.measurements(s, &out)
	out.Pairs, out.Grades = r.pairs(s), r.gradePairs(s)
	out.Judged(protocols, results)
	return out
}

// Titles are measurands in words.
func (r *Reducer) Titles(measurands []string) []string {
	out := make([]string, len(measurands))
	for i, name := range measurands {
		out[i] = r.quantity(name).Title
	}
	return out
}

// Judged puts other results to the study.
func (s *Study) Judged(protocols finding.Protocols, results *Outcomes) {
	s.Protocol, s.Kind = own(protocols.Base.Identifier), own(protocols.Base.Title)
	s.Triggered, s.Results, s.summed = nil, results, nil
	for _, p := range protocols.Triggered {
		s.Triggered = append(s.Triggered, own(p.Identifier))
	}
}

// Outcomes writes down what the rules of a set came to: of each the identifier
// and what was found. False means that the reducer's rule set has no such rule.
func (r *Reducer) Outcomes(n int, each func(i int) (rule string, outcome finding.Outcome, severity finding.Severity, cause string)) (*Outcomes, bool) {
	out := &Outcomes{rules: r.rules, codes: make([]byte, len(r.rules))}
	for i := range n {
		rule, outcome, severity, because := each(i)
		place := i
		if i >= len(r.rules) || r.rules[i].Identifier != rule {
			known := false
			if place, known = r.places[rule]; !known {
				return nil, false
			}
		}
		out.set(place, outcome, severity, because)
	}
	return out, true
}

// verdicts are verdicts as they are counted.
func (r *Reducer) verdicts(list []check.Verdict) *Outcomes {
	out := &Outcomes{rules: r.rules, codes: make([]byte, len(r.rules))}
	for _, v := range list {
		out.set(r.places[v.Rule.File.Identifier], v.Outcome, v.Severity, "")
	}
	return out
}

func (r *Reducer) caseOf(s *echo.Study) Case {
	c := Case{AgeBand: ageBand(s.Subject.AgeYears), Sex: own(s.Subject.PatientSex)}
	var stated []string
	for i := range s.Statements {
		def := r.set.Statements.Find(s.Statements[i].Identifier)
		if def == nil || s.Statements[i].Negated {
			continue
		}
		c.Arrhythmia = c.Arrhythmia || def.Harder == statement.Arrhythmia
		c.PoorWindows = c.PoorWindows || def.Harder == statement.PoorWindows
		if def.Quality > 0 {
			stated = append(stated, qualityOf(def.Identifier, def.Group))
		}
	}
	slices.Sort(stated)
	if stated = slices.Compact(stated); len(stated) == 1 {
		c.Quality = own(stated[0])
	}
	for i := range s.Measurements {
		if m := &s.Measurements[i]; m.Measurand == "body-surface-area" && m.Canonical != nil {
			c.BodySize = m.Canonical.Value.Float()
		}
	}
	return c
}

// ageBand is the age in bands of ten years; from 90 on they are one band.
func ageBand(age *float64) string {
	switch {
	case age == nil:
		return ""
	case *age < 18:
		return "under 18"
	case *age >= 90:
		return "90 and over"
	}
	low := int(*age) / 10 * 10
	return []string{"18-19", "20-29", "30-39", "40-49", "50-59", "60-69", "70-79", "80-89"}[max(0, low/10-1)]
}

// measurements counts how the measurements were coded and collects what the
// tests of digits and of repeated beats need.
func (r *Reducer) measurements(s *echo.Study, out *Study) {
	repeated, untold := map[repeatKey]*Spread{}, map[string]int{}
	var order []repeatKey
	for i := range s.Measurements {
		m := &s.Measurements[i]
		if m.Role != echo.Result || m.Superseded || m.DuplicateOf != nil {
			continue
		}
		out.Device = orDevice(out.Device, m.Equipment)
		out.Coding.count(m, r.set)
		named := r.set.Measurands.Find(m.Measurand)
		if named == nil || m.Canonical == nil || m.Modifiers.Derivation != nil || m.Modifiers.SelectionStatus != nil {
			continue
		}
		x := m.Canonical.Value.Float()
		of := r.quantity(named.Identifier)
		if of.Step > 0 || len(named.CutOffs) > 0 {
			out.Values = append(out.Values, Value{of, x})
		}
		// Beats of different reports, views, phases or methods are no repeats of
		// each other; where an image has no view, that cannot be told.
		if m.Modifiers.ImageView == nil && (m.Modifiers.ImageMode != nil || r.planes[named.Identifier]) {
			untold[named.Identifier]++
			continue
		}
		key := repeatOf(m)
		if repeated[key] == nil {
			repeated[key] = &Spread{Quantity: of}
			order = append(order, key)
		}
		repeated[key].Readings = append(repeated[key].Readings, x)
	}
	for _, n := range untold {
		if n > 1 {
			out.Untold++
		}
	}
	for _, key := range order {
		if len(repeated[key].Readings) > 1 {
			out.Spreads = append(out.Spreads, *repeated[key])
		}
	}
	if len(s.Documents) > 0 {
		out.Device = orDevice(Device{}, s.Documents[len(s.Documents)-1].Equipment)
	}
}

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

func orDevice(known Device, e echo.Equipment) Device {
	if known != (Device{}) {
		return known
	}
	return Device{own(e.Manufacturer), own(e.ManufacturerModelName), own(e.SoftwareVersions), own(e.StationName)}
}

// own is a text of few different ones that does not keep the study it is from in
// memory.
func own(text string) string { return unique.Make(text).Value() }

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

func (c *Coding) count(m *echo.Measurement, set *library.Library) {
	c.Measurements++
	named := set.Measurands.Find(m.Measurand)
	if named == nil {
		c.Unnamed++
	}
	if named != nil && named.Obtain != nil && named.Obtain.View != "" {
		c.WantViews++
		if m.Modifiers.ImageView != nil {
			c.Views++
		}
	}
	for _, p := range m.Problems {
		switch p.Kind {
		case echo.UnitNotUnderstood, echo.UnitWrongDimension:
			c.WrongUnit++
		case echo.NoValue:
			if m.Qualifier == nil {
				c.NoValue++
			}
		}
	}
}

// readingStep is the least step at which a quantity of this unit is read from
// a screen, 0 for quantities that are computed (site choice: a millimetre, a
// hundredth of a metre per second, a millisecond, one per cent).
func readingStep(unit string) float64 {
	switch unit {
	case "cm":
		return 0.1
	case "m/s":
		return 0.01
	case "ms", "mm", "mm[Hg]", "mL", "ml", "%":
		return 1
	}
	return 0
}
