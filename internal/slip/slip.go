// Package slip owns the likely causes of a failed demand: single slips of units,
// geometry, digits, copying, exchange, which, undone, make it hold. Each is
// tried by asking the rules again with the values as they would be without it.
package slip

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"echotally/internal/answer"
	"echotally/internal/echo"
	"echotally/internal/ucum"
)

// suppositions lists every single slip that could stand behind the values the
// rule looked at.
func (t *tested) suppositions() []supposition {
	var out []supposition
	names := t.names
	for i, name := range names {
		b := t.Binding(name)
		beyond := t.impossible(name) || t.Rule.Recompute == nil && len(names) == 1 // it is about this value alone
		factors := t.factors(name, b)
		for i := range factors {
			factors[i].telling = beyond
		}
		out = append(out, factors...)
		out = append(out, t.bodySize(name, b)...)
		out = append(out, t.digits(name, b, t.Rule.Recompute != nil || beyond)...)
		if t.Rule.Recompute != nil {
			out = append(out, t.pressures(name, b)...)
			out = append(out, t.others(name, b)...)
			out = append(out, t.edits(name)...)
		}
		for _, other := range names[i+1:] {
			out = append(out, t.exchange(name, other)...)
		}
		out = append(out, t.exchangeOutside(name, b)...)
		out = append(out, t.copies(name, b, beyond)...)
	}
	return append(out, t.indexed()...)
}

// inputSlips lists the slips that may sit in the inputs of a recomputation
// before anything is computed from them.
func (t *tested) inputSlips() []supposition {
	var out []supposition
	names := slices.DeleteFunc(slices.Clone(t.names), func(name string) bool { return name == t.Rule.Recompute.Stated })
	for i, name := range names {
		out = append(out, t.factors(name, t.Binding(name))...)
		for _, other := range names[i+1:] {
			out = append(out, t.exchange(name, other)...)
		}
	}
	return slices.DeleteFunc(out, func(s supposition) bool { return !s.kind.upstream })
}

// impossible reports whether the value of an alias is outside its plausible
// range.
func (t *tested) impossible(name string) bool {
	b := t.Binding(name)
	low, high, known := t.plausible(b.Chosen.Measurement.Measurand)
	return known && (b.Chosen.X < low || b.Chosen.X > high)
}

func short(b *answer.Binding, m *echo.Measurement) string {
	for _, c := range b.Alias.Measurands {
		if c.Identifier == m.Measurand {
			return c.Short
		}
	}
	return m.ConceptName.CodeMeaning
}

// factor is a slip that multiplies.
type factor struct {
	by   float64
	kind slip
	why  string
}

// Dimensions of the units echo reports mix up.
var (
	length   = ucum.Dimension{Length: 1}
	area     = ucum.Dimension{Length: 2}
	volume   = ucum.Dimension{Length: 3}
	duration = ucum.Dimension{Time: 1}
	velocity = ucum.Dimension{Length: 1, Time: -1}
)

// factorsOf lists the slips of unit and geometry for a quantity.
func factorsOf(d ucum.Dimension, measurand, unit string) []factor {
	var out []factor
	both := func(by float64, kind slip, up, down string) {
		out = append(out, factor{by, kind, up}, factor{1 / by, kind, down})
	}
	switch d {
	case length:
		if strings.Contains(unit, "/") {
			break // a volume by body surface area
		}
		both(10, unitSlip, "centimetres taken for millimetres", "millimetres taken for centimetres")
		if strings.Contains(measurand, "diameter") || strings.Contains(measurand, "radius") {
			both(2, radius, "radius taken for diameter", "diameter taken for radius")
		}
	case area:
		both(100, unitSlip, "cm² taken for mm²", "mm² taken for cm²")
	case volume:
		both(1000, unitSlip, "litres taken for millilitres", "millilitres taken for litres")
	case velocity:
		both(100, unitSlip, "m/s taken for cm/s", "cm/s taken for m/s")
	case duration:
		both(1000, unitSlip, "seconds taken for milliseconds", "milliseconds taken for seconds")
	case ucum.Dimension{}:
		if unit != "%" {
			break
		}
		both(100, unitSlip, "fraction taken for percent", "percent taken for fraction")
	}
	if measurand == "body-weight" {
		out = append(out, factor{0.45359237, imperial, "pounds taken for kilograms"}, factor{1 / 0.45359237, imperial, "kilograms converted once too often"})
	}
	if measurand == "body-height" {
		out = append(out, factor{2.54, imperial, "inches taken for centimetres"}, factor{1 / 2.54, imperial, "centimetres converted once too often"})
	}
	if strings.Contains(measurand, "velocity-time-integral") {
		both(100, unitSlip, "metres taken for centimetres", "centimetres taken for metres")
	}
	if d != length || strings.Contains(unit, "/") {
		both(10, decimalPoint, "decimal point one place off", "decimal point one place off")
		both(100, decimalPoint, "decimal point two places off", "decimal point two places off")
	}
	return out
}

func (t *tested) factors(name string, b *answer.Binding) []supposition {
	var out []supposition
	d := b.Alias.Unit.Dimension()
	for _, f := range factorsOf(d, b.Chosen.Measurement.Measurand, b.Alias.Unit.Code()) {
		out = append(out, t.one(f.kind, name, b.Chosen.X*f.by, f.why))
	}
	if t.Rule.Recompute != nil && (d == length || d == velocity) {
		// A square forgotten is as if the root, in the unit of the formulas, had been entered.
		base := 1.0
		if d == length {
			if f, err := b.Alias.Unit.FactorTo(centimetre); err == nil {
				base, _ = f.Float64()
			}
		}
		out = append(out, t.one(notSquared, name, math.Sqrt(b.Chosen.X*base)/base, "the square left out"))
	}
	return out
}

var centimetre = func() ucum.Unit { u, _ := ucum.Parse("cm"); return u }()

// usualAtrialPressures are the estimates in use, in mmHg: 3, 8 and 15 by vena
// cava size and collapse (Rudski LG et al. J Am Soc Echocardiogr
// 2010;23:685-713), 5 and 10 as fixed values (common practice).
var usualAtrialPressures = []float64{3, 5, 8, 10, 15}

// pressures supposes a right atrial pressure left out, counted twice, or taken
// from the usual estimates.
func (t *tested) pressures(name string, b *answer.Binding) []supposition {
	if b.Chosen.Measurement.Measurand != "right-atrial-pressure" || t.Rule.Recompute == nil {
		return nil
	}
	x := b.Chosen.X
	out := []supposition{t.one(atrialPressure, name, 0, "right atrial pressure left out"), t.one(atrialPressure, name, 2*x, "right atrial pressure counted twice")}
	for _, usual := range usualAtrialPressures {
		if usual != x {
			out = append(out, t.one(atrialPressure, name, usual, "another right atrial pressure used"))
		}
	}
	return out
}

// exchange supposes two values written in each other's place.
func (t *tested) exchange(first, second string) []supposition {
	a, b := t.Binding(first), t.Binding(second)
	kind := exchanged
	bodySize := a.Chosen.Measurement.Measurand == "body-height" && b.Chosen.Measurement.Measurand == "body-weight" || a.Chosen.Measurement.Measurand == "body-weight" && b.Chosen.Measurement.Measurand == "body-height"
	x, y := b.Chosen.X, a.Chosen.X
	switch {
	case bodySize:
		kind = sizeExchanged // the numbers change places, not the units
	case a.Alias.Unit.Dimension() != b.Alias.Unit.Dimension():
		return nil
	default:
		if f, err := b.Alias.Unit.FactorTo(a.Alias.Unit); err == nil {
			factor, _ := f.Float64()
			x, y = x*factor, y/factor
		}
	}
	one, two := a.Chosen, b.Chosen
	one.X, two.X = x, y
	one.HalfStep, two.HalfStep = two.HalfStep, one.HalfStep
	out := supposition{kind: kind, changes: []answer.Supposed{{Alias: first, Item: one}, {Alias: second, Item: two}}, subject: a.Chosen.Measurement.Measurand, telling: true,
		text: func() string {
			return fmt.Sprintf("%s and %s exchanged (%s, %s)", short(a, a.Chosen.Measurement), short(b, b.Chosen.Measurement), answer.WithUnit(x, a.Alias.Unit), answer.WithUnit(y, b.Alias.Unit))
		}}
	if a.Chosen.X != 0 && b.Chosen.X != 0 {
		out.repair = t.repair(a, one, true)
		for m, f := range t.repair(b, two, true) {
			out.repair[m] = f
		}
	}
	return []supposition{out}
}

// exchangeOutside supposes a value exchanged with its like that another rule
// looks at: septal with lateral.
func (t *tested) exchangeOutside(name string, b *answer.Binding) []supposition {
	var out []supposition
	for _, id := range t.Measurands() {
		list := t.Of(id)
		it, ok := t.Item(list[len(list)-1], b.Alias.Unit)
		if !ok || !alike(id, b.Chosen.Measurement.Measurand) || it.X == b.Chosen.X || t.looksAt(it.Measurement) || it.X == 0 || b.Chosen.X == 0 {
			continue
		}
		s := supposition{kind: exchanged, changes: []answer.Supposed{{Alias: name, Item: it}}, subject: b.Chosen.Measurement.Measurand,
			text: func() string {
				return fmt.Sprintf("%s and %s exchanged (%s, %s)", short(b, b.Chosen.Measurement), t.Library.Measurands.Find(id).Short, it.Text(b.Alias.Unit), b.Chosen.Text(b.Alias.Unit))
			}}
		s.repair = t.repair(b, it, true)
		for _, m := range list {
			s.repair[m] = correction{b.Chosen.X / it.X, b.Chosen.HalfStep / max(it.HalfStep, math.SmallestNonzeroFloat32)}
		}
		s.outside = true
		out = append(out, s)
	}
	return out
}

// looksAt reports whether the rule looks at the measurement.
func (t *tested) looksAt(m *echo.Measurement) bool {
	return slices.ContainsFunc(t.names, func(name string) bool { return t.Binding(name).Chosen.Measurement == m })
}

// bodySize supposes that the number of the height was entered as the weight, and
// the other way round, when the rule looks at one of them alone.
func (t *tested) bodySize(name string, b *answer.Binding) []supposition {
	partner := map[string]string{"body-height": "body-weight", "body-weight": "body-height"}[b.Chosen.Measurement.Measurand]
	values := t.Of(partner)
	if t.Rule.Recompute != nil || len(values) == 0 || values[len(values)-1].Canonical == nil {
		return nil
	}
	other := values[len(values)-1]
	x := other.Canonical.Value.Float()
	s := t.one(sizeExchanged, name, x, "height and weight exchanged")
	if s.telling = true; x != 0 && b.Chosen.X != 0 {
		s.repair[other] = correction{b.Chosen.X / x, b.Chosen.X / x}
	}
	return []supposition{s}
}

// others supposes the value of another beat or view of the same quantity, or of
// its like at another site or by another method.
func (t *tested) others(name string, b *answer.Binding) []supposition {
	var out []supposition
	for _, id := range t.Measurands() {
		kind, why := otherKind, ""
		if id == b.Chosen.Measurement.Measurand {
			kind, why = otherBeat, "another value of the same"
		} else if !alike(id, b.Chosen.Measurement.Measurand) {
			continue
		}
		for _, m := range t.Of(id) {
			it, ok := t.Item(m, b.Alias.Unit)
			if !ok || m == b.Chosen.Measurement || it.X == b.Chosen.X {
				continue
			}
			label := why
			if kind == otherKind {
				label = "that of " + t.Library.Measurands.Find(id).Short
			}
			out = append(out, t.supposition(kind, name, it, func() string { return insteadOf(b, it.Text(b.Alias.Unit), label) }))
		}
	}
	return out
}

// sides are words that tell one site from another of the same kind.
var sides = map[string]string{
	"lvot": "outflow", "rvot": "outflow", "left": "side", "right": "side", "mitral": "valve", "tricuspid": "valve", "aortic": "valve",
	"pulmonary": "valve", "septal": "wall", "lateral": "wall",
}

// alike reports whether two measurand identifiers share at least half their
// words: the same property at another site, or the same quantity by another
// method.
func alike(a, b string) bool {
	first, second := strings.Split(a, "-"), strings.Split(b, "-")
	general := func(words []string) []string {
		out := slices.Clone(words)
		for i, w := range out {
			if s, ok := sides[w]; ok {
				out[i] = s
			}
		}
		return out
	}
	shared := func(first, second []string) bool {
		n := 0
		for _, w := range first {
			if slices.Contains(second, w) {
				n++
			}
		}
		return 2*n >= len(first)+len(second)-n
	}
	return shared(first, second) || shared(general(first), general(second))
}

// indexed supposes that a stated value was indexed twice or not at all.
func (t *tested) indexed() []supposition {
	if t.Rule.Recompute == nil {
		return nil
	}
	stated := t.Binding(t.Rule.Recompute.Stated)
	areas := t.Of("body-surface-area")
	if stated.Chosen.Measurement == nil || len(areas) == 0 || areas[len(areas)-1].Canonical == nil {
		return nil
	}
	bsa := areas[len(areas)-1].Canonical.Value.Float()
	if bsa <= 0 {
		return nil
	}
	name := t.Rule.Recompute.Stated
	return []supposition{
		t.one(indexing, name, stated.Chosen.X*bsa, "divided by the body surface area once too often"),
		t.one(indexing, name, stated.Chosen.X/bsa, "not divided by the body surface area"),
	}
}
