// Package reduction owns the way from a judged study to the study as figures count
// it. It judges by nothing of its own.
package reduction

import (
	"math"
	"slices"
	"strings"
	"time"
	"unique"

	"echotally/internal/answer"
	"echotally/internal/casemix"
	"echotally/internal/check"
	"echotally/internal/counted"
	"echotally/internal/counted/kept"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/library"
	"echotally/internal/measurand"
	"echotally/internal/repeats"
	"echotally/internal/rule"
	"echotally/internal/tally"
	"echotally/internal/ucum"
)

// Reducer reduces judged studies to what is counted: the one place that says what
// figures take from a study. It keeps one [tally.Rule] per rule and one [counted.Quantity] per
// measurand, so that ten thousand studies share them. It is for one goroutine.
type Reducer struct {
	set        *library.Library
	scales     counted.Scales
	Rules      []*tally.Rule // in the order of the set
	places     map[string]int
	quantities map[string]*counted.Quantity
	repeats    *repeats.Finder
	form       *kept.Form
}

// NewReducer makes a reducer for the studies a rule set has judged.
func NewReducer(set *library.Library) *Reducer {
	r := &Reducer{set: set, scales: counted.ScalesOf(set), places: make(map[string]int, len(set.Rules)), quantities: map[string]*counted.Quantity{}}
	r.repeats = repeats.NewFinder(set, r.scales.Grades, r.quantity)
	bases := map[string]bool{}
	for _, p := range set.Protocols {
		bases[p.Identifier] = p.Base
	}
	for i, one := range set.Rules {
		a := one.File.AppliesTo
		// Asked of a base protocol as well, it is asked of every such study.
		triggered := len(a.Protocol) > 0 && !slices.ContainsFunc(a.Protocol, func(p string) bool { return bases[p] })
		r.places[one.File.Identifier] = i
		r.Rules = append(r.Rules, &tally.Rule{
			Identifier: one.File.Identifier, Title: one.File.Title, Structure: one.Structure, Kind: one.Kind, Severity: one.Severity,
			Conditional: a.When != "" || len(a.Stated) > 0 || triggered, Measurands: one.MeasurandNames(), PerLab: one.File.PerLab, OpenPerLab: one.File.OpenPerLab,
		})
	}
	r.form = kept.NewForm(set.Measurands, len(r.scales.Grades), r.quantity)
	return r
}

// Reduce takes from a study what is counted. What the lab's own systems know
// (site, staff, times, waivers) is for the caller to add.
func (r *Reducer) Reduce(s *echo.Study, protocols finding.Protocols, results *tally.Outcomes, joint *finding.Reconciliation) counted.Study {
	out := counted.Study{UID: strings.Clone(s.StudyInstanceUID), Images: len(s.Images)}
	// A date that cannot be read stays zero and is shown as such.
	out.Date, _ = time.Parse("20060102", s.StudyDate)
	if joint != nil {
		for _, round := range joint.Suspects {
			for _, suspect := range round {
				out.Suspect = append(out.Suspect, suspect.Title)
			}
		}
	}
	out.Case, out.Medium = casemix.Of(s, r.set), casemix.MediumOf(s, r.set)
	r.measurements(s, &out)
	out.Pairs, out.Grades = r.repeats.Pairs(s), r.repeats.GradePairs(s)
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

// Place is that of a rule in the reducer's rule set, 0 for one that it does not have.
func (r *Reducer) Place(identifier string) int { return r.places[identifier] }

// Carry takes over what another rule set came to; from is the place there of each
// rule, negative where there is none.
func (r *Reducer) Carry(results *tally.Outcomes, from []int) *tally.Outcomes {
	return results.Carry(r.Rules, from)
}

// Outcomes writes down what the rules of a set came to: of each the identifier
// and what was found. False means that the reducer's rule set has no such rule.
func (r *Reducer) Outcomes(n int, each func(i int) (rule string, outcome finding.Outcome, severity finding.Severity, cause string)) (*tally.Outcomes, bool) {
	out := tally.NewOutcomes(r.Rules)
	for i := range n {
		rule, outcome, severity, because := each(i)
		place := i
		if i >= len(r.Rules) || r.Rules[i].Identifier != rule {
			known := false
			if place, known = r.places[rule]; !known {
				return nil, false
			}
		}
		out.Set(place, outcome, severity, because)
	}
	return out, true
}

// Verdicts writes verdicts, as they are counted, over outcomes of the reducer's rule
// set, over none where those are nil.
func (r *Reducer) Verdicts(out *tally.Outcomes, list []check.Verdict) *tally.Outcomes {
	if out == nil {
		out = tally.NewOutcomes(r.Rules)
	}
	for _, v := range list {
		out.Set(r.places[v.Rule.File.Identifier], v.Outcome, v.Severity, "")
	}
	return out
}

// measurements counts how the measurements were coded and collects what the
// tests of digits and of repeated beats need.
func (r *Reducer) measurements(s *echo.Study, out *counted.Study) {
	beats := r.repeats.Beats()
	for i := range s.Measurements {
		m := &s.Measurements[i]
		if m.Role != echo.Result || m.Superseded || m.DuplicateOf != nil {
			continue
		}
		out.Device = orDevice(out.Device, m.Equipment)
		count(&out.Coding, m, r.set)
		named := r.set.Measurands.Find(m.Measurand)
		if named == nil || m.Canonical == nil || m.Modifiers.Derivation != nil || m.Modifiers.SelectionStatus != nil {
			continue
		}
		x := m.Canonical.Value.Float()
		of := r.quantity(named.Identifier)
		if of.Step > 0 || len(named.CutOffs) > 0 {
			out.Values = append(out.Values, counted.Value{Quantity: of, X: x})
		}
		beats.Add(m, of)
	}
	out.Untold, out.Spreads = beats.Untold(), beats.Spreads()
	if len(s.Documents) > 0 {
		out.Device = orDevice(counted.Device{}, s.Documents[len(s.Documents)-1].Equipment)
	}
}

func orDevice(known counted.Device, e echo.Equipment) counted.Device {
	if known != (counted.Device{}) {
		return known
	}
	return counted.Device{Maker: own(e.Manufacturer), Model: own(e.ManufacturerModelName), Software: own(e.SoftwareVersions), Station: own(e.StationName)}
}

// own is a text of few different ones that does not keep the study it is from in
// memory.
func own(text string) string { return unique.Make(text).Value() }

func count(c *counted.Coding, m *echo.Measurement, set *library.Library) {
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

// quantity gives a measurand as its values are shown; one that the catalogue
// does not have shows its identifier.
func (r *Reducer) quantity(measurand string) *counted.Quantity {
	if known := r.quantities[measurand]; known != nil {
		return known
	}
	out := &counted.Quantity{Measurand: strings.Clone(measurand), Title: measurand}
	if m := r.set.Measurands.Find(measurand); m != nil {
		unit := m.Unit.Code()
		*out = counted.Quantity{Measurand: m.Identifier, Title: m.Title, Unit: unit, Step: r.set.Terms.Step(unit)}
	}
	r.quantities[out.Measurand] = out
	return out
}

// counter names what [Reducer.Reduce] takes from a study. Whatever changes what
// is counted gives it another number, so that the ledger's studies are counted
// anew.
const counter = "audit 4"

// Counter names what is counted and by which reducer: what another one packed is
// not read.
func (r *Reducer) Counter() string { return counter }

// Pack packs what is counted of a study beside its results.
func (r *Reducer) Pack(s *counted.Study) []byte { return r.form.Pack(s) }

// Unpack reads what a reducer of the same rule set packed.
func (r *Reducer) Unpack(b []byte) (counted.Study, error) { return r.form.Unpack(b) }

// OtherTest is what another test found, as the lab's list says it.
type OtherTest struct {
	Measurand, Test, Value, Unit string
	On                           time.Time
}

// Correlate sets what other tests found beside the values of the study that
// count. What has no known measurand or unit was refused when it was listed, and
// is passed over.
func (r *Reducer) Correlate(s *echo.Study, tests []OtherTest) []counted.Correlation {
	reading := answer.Read(r.set, s)
	date, err := time.Parse("20060102", s.StudyDate)
	var out []counted.Correlation
	for _, t := range tests {
		m := r.set.Measurands.Find(t.Measurand)
		if m == nil || err != nil {
			continue
		}
		other, ok := inUnit(t.Value, t.Unit, m.Unit)
		if !ok {
			continue
		}
		c := counted.Correlation{Quantity: r.quantity(m.Identifier), Test: own(t.Test), Echo: math.NaN(), Other: other,
			Days: int(math.Abs(math.Round(t.On.Sub(date).Hours() / 24)))}
		if b := reading.Aliased(&rule.Alias{Name: "compared", Measurands: []*measurand.Measurand{m}, Unit: m.Unit}); len(b.Items) > 0 {
			c.Echo = b.Chosen.X
		}
		out = append(out, c)
	}
	return out
}

// inUnit reads a number with its unit in another.
func inUnit(value, unit string, to ucum.Unit) (float64, bool) {
	x, _, err := ucum.ParseDecimal(value)
	if err != nil {
		return 0, false
	}
	from, err := ucum.Parse(unit)
	if err != nil {
		return 0, false
	}
	out, err := ucum.Quantity{Value: x, Unit: from}.Float(to)
	return out, err == nil
}
