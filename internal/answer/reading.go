// Package answer owns what a study says to a question: the value that counts
// for an alias, what is stated, what the images and the wall show, what the
// earlier study had, and, where there is no answer, why. A [Reading] is a study
// arranged for looking things up; [Answers] are its answers to the names of one
// rule. Nothing here knows what a rule demands.
//
// Truth is three-valued throughout: an answer that cannot be told is NaN or
// unknown, never a guess.
package answer

import (
	"slices"
	"unique"

	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/library"
	"echotally/internal/rule"
	"echotally/internal/statement"
	"echotally/internal/ucum"
)

// Reading is a study arranged for looking things up. Superseded documents do
// not speak. What was looked up once is kept, so it is for one goroutine.
type Reading struct {
	Library *library.Library
	Study   *echo.Study

	measured    measured
	said        map[string][]*echo.Statement
	made        [][]*echo.Statement // the same, by the place of the definition
	spoken      []uint64            // the places at which there are some, as bits
	superseded  map[string]bool
	bound       map[unique.Handle[string]]*Binding // by what an alias stands for
	bindings    []*bindings                        // room for them
	used        int                                // of it
	earlier     *Reading                           // of the earlier study, nil until something is asked of it
	wall        []part                             // of the left ventricular wall at rest
	places      map[echo.Source]*echo.Measurement
	scores      []Score
	scored      bool
	unnamed     []unnamed
	unnamedTold bool
	factors     map[[2]string]float64 // from unit to unit
}

// Read arranges a study.
func Read(lib *library.Library, s *echo.Study) *Reading {
	r := &Reading{said: map[string][]*echo.Statement{}, superseded: map[string]bool{},
		bound: make(map[unique.Handle[string]]*Binding, len(s.Measurements)), factors: map[[2]string]float64{}}
	r.Turn(lib, s)
	return r
}

// Turn turns a reading that is done with to another study.
func (r *Reading) Turn(lib *library.Library, s *echo.Study) {
	clear(r.said)
	clear(r.made)
	clear(r.spoken)
	clear(r.superseded)
	clear(r.bound)
	*r = Reading{Library: lib, Study: s, measured: r.measured, said: r.said, made: r.made[:0], spoken: r.spoken[:0], superseded: r.superseded,
		bound: r.bound, bindings: r.bindings, factors: r.factors}
	for _, d := range s.Documents {
		if d.SupersededBy != "" {
			r.superseded[d.SOPInstanceUID] = true
		}
	}
	r.measured.turn(lib.Measurands, s)
	for i := range s.Statements {
		st := &s.Statements[i]
		if !r.superseded[st.Source.SOPInstanceUID] {
			r.said[st.Identifier] = append(r.said[st.Identifier], st)
		}
	}
	r.made = slices.Grow(r.made, len(lib.Statements.Definitions))[:len(lib.Statements.Definitions)]
	r.spoken = slices.Grow(r.spoken, len(r.made)/64+1)[:len(r.made)/64+1]
	for identifier, said := range r.said {
		if d := lib.Statements.Find(identifier); d != nil {
			r.made[d.Place] = said
			r.spoken[d.Place/64] |= 1 << (d.Place % 64)
		}
	}
	r.wall = partsOfWall(lib.Terms, s.Segments, r.superseded)
}

// Measurands are the measurands the study has, sorted.
func (r *Reading) Measurands() []string { return r.measured.names }

// Of are the measurements of a measurand that speak, in document order.
func (r *Reading) Of(measurand string) []*echo.Measurement { return r.measured.called(measurand) }

// Has reports whether the study has a measurement that speaks of the measurand at a
// place in the catalogue.
func (r *Reading) Has(place int) bool { return len(r.measured.at(place)) > 0 }

// saidOf are the statements the study makes or denies by a definition.
func (r *Reading) saidOf(d *statement.Definition) []*echo.Statement {
	if all := r.Library.Statements.Definitions; d.Place < len(all) && all[d.Place] == d {
		return r.made[d.Place]
	}
	return r.said[d.Identifier] // of another library
}

// silentOn reports whether the study neither makes nor denies any of a list.
func (r *Reading) silentOn(list []*rule.Said) bool {
	for _, s := range list {
		places, known := s.Places(r.Library.Statements)
		if !known {
			return false
		}
		for _, p := range places {
			if r.spoken[p/64]&(1<<(p%64)) != 0 {
				return false
			}
		}
	}
	return true
}

// Answers are what a study says to the names of one rule.
type Answers struct {
	*Reading
	Rule *rule.Rule

	names     []string // of the aliases, sorted
	aliases   []*rule.Alias
	bindings  []*Binding
	galleries []*gallery // by name of the alias
	asked     asked      // the statement asked last
}

// To answers the names of a rule. They are looked up when they are asked for.
func (r *Reading) To(one *rule.Rule) *Answers {
	a := &Answers{}
	a.Turn(r, one)
	return a
}

// Turn turns answers that are done with to the names of another rule.
func (a *Answers) Turn(r *Reading, one *rule.Rule) {
	clear(a.bindings)
	*a = Answers{Reading: r, Rule: one, names: one.AliasNames(), aliases: one.AliasList(), bindings: a.bindings[:0], galleries: a.galleries[:0]}
	a.bindings = slices.Grow(a.bindings, len(a.names))[:len(a.names)]
	if len(one.Images) > 0 {
		for _, name := range sortedNames(one.Images) {
			a.galleries = append(a.galleries, r.images(one.Images[name]))
		}
	}
}

// Names are the aliases of the rule that stand for measurands, sorted.
func (a *Answers) Names() []string { return a.names }

// Binding is what the study holds for an alias; nil when the name is none of a
// measurand.
func (a *Answers) Binding(name string) *Binding {
	for i, n := range a.names {
		if n == name {
			return a.at(i)
		}
	}
	return nil
}

// at is the binding of the alias at a place among the names.
func (a *Answers) at(i int) *Binding {
	if a.bindings[i] == nil {
		a.bindings[i] = a.bind(a.aliases[i])
	}
	return a.bindings[i]
}

// bindingOf is the binding of what an expression asks of; nil where that is no
// alias of a measurand.
func (a *Answers) bindingOf(in *expr.Input) *Binding {
	switch in.Place {
	case expr.NoAlias:
		return nil
	case 0:
		return a.Binding(in.Name)
	}
	return a.at(in.Place - 1)
}

func (a *Answers) gallery(name string) *gallery {
	for _, g := range a.galleries {
		if g.alias.Name == name {
			return g
		}
	}
	return nil
}

// Measured are the aliases with a recorded value the result rests on, sorted.
func (a *Answers) Measured() []string {
	var out []string
	for _, name := range a.names {
		if slices.Contains(a.Rule.Names(), name) && a.Binding(name).Chosen.Measurement != nil {
			out = append(out, name)
		}
	}
	return out
}

// Supposed is a value in the place of the one that counts for an alias.
type Supposed struct {
	Alias string
	Item  Item
}

// Supposing are the answers with other values in the place of those that count.
func (a *Answers) Supposing(values ...Supposed) *Answers {
	out := a.copied()
	for _, supposed := range values {
		i, it := slices.Index(out.names, supposed.Alias), supposed.Item
		was := out.bindings[i]
		b := *was
		b.Items = slices.Clone(b.Items)
		for k := range b.Items {
			if b.Items[k].Measurement == was.Chosen.Measurement {
				b.Items[k] = it
			}
		}
		b.Chosen = it
		out.bindings[i] = &b
	}
	return out
}

// Corrected are the answers with every value changed that change changes; which
// value counts stays as it was.
func (a *Answers) Corrected(change func(Item) (Item, bool)) *Answers {
	out := a.copied()
	for i, b := range out.bindings {
		var changed *Binding
		for k, it := range b.Items {
			now, ok := change(it)
			if !ok {
				continue
			}
			if changed == nil {
				c := *b
				c.Items = slices.Clone(b.Items)
				changed = &c
			}
			changed.Items[k] = now
			if it.Measurement == b.Chosen.Measurement {
				changed.Chosen = now
			}
		}
		if changed == nil {
			continue
		}
		if b.Chosen.Measurement == nil {
			changed.choose()
		}
		out.bindings[i] = changed
	}
	return out
}

// copied are the same answers, all looked up, to be changed.
func (a *Answers) copied() *Answers {
	for i := range a.names {
		a.at(i)
	}
	out := *a
	out.bindings = slices.Clone(a.bindings)
	return &out
}

// Together are the answers in which every input is, where there is just one
// such, the value that stands in the same container as the one that counts for
// the stated name: a gradient belongs to the velocity it was measured with, not
// to a higher one from another window. Where several stand there, or it has no
// container, the one of the same phase of breathing is taken, else those series
// that are of the same image mode and view as the stated value.
func (a *Answers) Together(stated string) *Answers {
	with := a.Binding(stated).Chosen.Measurement
	if with == nil {
		return a
	}
	out := a.copied()
	for i, b := range out.bindings {
		if out.names[i] == stated {
			continue
		}
		same := filter(b.Items, func(i Item) bool {
			return i.Measurement.Group != "" && i.Measurement.Group == with.Group && i.Measurement.Source.SOPInstanceUID == with.Source.SOPInstanceUID
		})
		note := "stands with the stated value"
		if phase := with.Modifiers.RespiratoryCyclePoint; len(same) != 1 && phase != nil {
			same = filter(b.Items, func(i Item) bool {
				p := i.Measurement.Modifiers.RespiratoryCyclePoint
				return p != nil && p.Concept.Key() == phase.Concept.Key()
			})
			note = "of the same phase of breathing as the stated value"
		}
		switch {
		case len(same) == 1 && same[0].Measurement == b.Chosen.Measurement && len(b.Items) == 1:
		case len(same) == 1:
			changed := *b
			changed.Items, changed.Chosen, changed.Note = same, same[0], note
			out.bindings[i] = &changed
		default:
			out.bindings[i] = b.likeIt(with)
		}
	}
	return out
}

// Truth tells whether a condition holds. Where images are asked for it is
// evaluated with those that surely belong, and with those that may as well;
// when the two differ it cannot be told.
func (a *Answers) Truth(p *expr.Program) expr.Truth {
	least := p.Holds(a.Value)
	if len(a.galleries) == 0 {
		return least
	}
	if p.Holds(func(in *expr.Input) float64 { return a.value(in, true) }) != least {
		return expr.Unknown
	}
	return least
}

// Aliased is the binding of an alias outside any rule.
func (r *Reading) Aliased(alias *rule.Alias) *Binding { return r.bind(alias) }

// Factor is what takes a number from one unit to another, 1 when none does.
func Factor(from, to ucum.Unit) float64 {
	if from.Code() == to.Code() {
		return 1
	}
	if f, err := from.FactorTo(to); err == nil {
		x, _ := f.Float64()
		return x
	}
	return 1
}

// What is missing where it is not known of the patient.
var (
	AgeMissing = finding.Missing{Alias: expr.Age, Measurand: "patient-age", Title: "Patient's age", Reason: "not recorded"}
	SexMissing = finding.Missing{Alias: expr.Sex, Measurand: "patient-sex", Title: "Patient's sex", Reason: "not recorded"}
)
