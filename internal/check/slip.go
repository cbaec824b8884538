package check

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"echotally/internal/echo"
	"echotally/internal/ucum"
)

// suppositions lists every single slip that could stand behind the values the
// rule looked at.
func (e *evaluation) suppositions() []supposition {
	var out []supposition
	names := e.measuredNames()
	for i, name := range names {
		b := e.bindings[name]
		beyond := e.impossible(name) || e.rule.Recompute == nil && len(names) == 1 // it is about this value alone
		factors := e.factors(name, b)
		for i := range factors {
			factors[i].telling = beyond
		}
		out = append(out, factors...)
		out = append(out, e.bodySize(name, b)...)
		out = append(out, e.digits(name, b, e.rule.Recompute != nil || beyond)...)
		if e.rule.Recompute != nil {
			out = append(out, e.pressures(name, b)...)
			out = append(out, e.others(name, b)...)
			out = append(out, e.edits(name)...)
		}
		for _, other := range names[i+1:] {
			out = append(out, e.exchange(name, other)...)
		}
		out = append(out, e.exchangeOutside(name, b)...)
		out = append(out, e.copies(name, b, beyond)...)
	}
	return append(out, e.indexed()...)
}

// inputSlips lists the slips that may sit in the inputs of a recomputation
// before anything is computed from them.
func (e *evaluation) inputSlips() []supposition {
	var out []supposition
	names := slices.DeleteFunc(e.measuredNames(), func(name string) bool { return name == e.rule.Recompute.Stated })
	for i, name := range names {
		out = append(out, e.factors(name, e.bindings[name])...)
		for _, other := range names[i+1:] {
			out = append(out, e.exchange(name, other)...)
		}
	}
	return slices.DeleteFunc(out, func(s supposition) bool { return !s.kind.upstream })
}

// impossible reports whether the value of an alias is outside its plausible
// range.
func (e *evaluation) impossible(name string) bool {
	b := e.bindings[name]
	low, high, known := e.plausible(b.chosen.m.Measurand)
	return known && (b.chosen.x < low || b.chosen.x > high)
}

// measuredNames are the aliases with a recorded value the verdict rests on.
func (e *evaluation) measuredNames() []string {
	var out []string
	for _, name := range sortedNames(e.bindings) {
		if e.bindings[name].chosen.m != nil && slices.Contains(e.rule.Names(), name) {
			out = append(out, name)
		}
	}
	return out
}

func short(b *binding, m *echo.Measurement) string {
	for _, c := range b.alias.Measurands {
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

func (e *evaluation) factors(name string, b *binding) []supposition {
	var out []supposition
	d := b.alias.Unit.Dimension()
	for _, f := range factorsOf(d, b.chosen.m.Measurand, b.alias.Unit.Code()) {
		out = append(out, e.one(f.kind, name, b.chosen.x*f.by, f.why))
	}
	if e.rule.Recompute != nil && (d == length || d == velocity) {
		// A square forgotten is as if the root, in the unit of the formulas, had been entered.
		base := 1.0
		if d == length {
			if f, err := b.alias.Unit.FactorTo(centimetre); err == nil {
				base, _ = f.Float64()
			}
		}
		out = append(out, e.one(notSquared, name, math.Sqrt(b.chosen.x*base)/base, "the square left out"))
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
func (e *evaluation) pressures(name string, b *binding) []supposition {
	if b.chosen.m.Measurand != "right-atrial-pressure" || e.rule.Recompute == nil {
		return nil
	}
	x := b.chosen.x
	out := []supposition{e.one(atrialPressure, name, 0, "right atrial pressure left out"), e.one(atrialPressure, name, 2*x, "right atrial pressure counted twice")}
	for _, usual := range usualAtrialPressures {
		if usual != x {
			out = append(out, e.one(atrialPressure, name, usual, "another right atrial pressure used"))
		}
	}
	return out
}

// exchange supposes two values written in each other's place.
func (e *evaluation) exchange(first, second string) []supposition {
	a, b := e.bindings[first], e.bindings[second]
	kind := exchanged
	bodySize := a.chosen.m.Measurand == "body-height" && b.chosen.m.Measurand == "body-weight" || a.chosen.m.Measurand == "body-weight" && b.chosen.m.Measurand == "body-height"
	x, y := b.chosen.x, a.chosen.x
	switch {
	case bodySize:
		kind = sizeExchanged // the numbers change places, not the units
	case a.alias.Unit.Dimension() != b.alias.Unit.Dimension():
		return nil
	default:
		if f, err := b.alias.Unit.FactorTo(a.alias.Unit); err == nil {
			factor, _ := f.Float64()
			x, y = x*factor, y/factor
		}
	}
	one, two := a.chosen, b.chosen
	one.x, two.x = x, y
	one.halfStep, two.halfStep = two.halfStep, one.halfStep
	out := supposition{kind: kind, changes: map[string]item{first: one, second: two}, subject: a.chosen.m.Measurand, telling: true,
		text: fmt.Sprintf("%s and %s exchanged (%s, %s): ", short(a, a.chosen.m), short(b, b.chosen.m), withUnit(x, a.alias.Unit), withUnit(y, b.alias.Unit))}
	if a.chosen.x != 0 && b.chosen.x != 0 {
		out.repair = e.repair(a, one, true)
		for m, f := range e.repair(b, two, true) {
			out.repair[m] = f
		}
	}
	return []supposition{out}
}

// exchangeOutside supposes a value exchanged with its like that another rule
// looks at: septal with lateral.
func (e *evaluation) exchangeOutside(name string, b *binding) []supposition {
	var out []supposition
	for _, id := range sortedNames(e.byMeasurand) {
		list := e.byMeasurand[id]
		it, ok := e.item(list[len(list)-1], b.alias.Unit)
		if !ok || !alike(id, b.chosen.m.Measurand) || it.x == b.chosen.x || e.looksAt(it.m) || it.x == 0 || b.chosen.x == 0 {
			continue
		}
		s := supposition{kind: exchanged, changes: map[string]item{name: it}, subject: b.chosen.m.Measurand,
			text: fmt.Sprintf("%s and %s exchanged (%s, %s): ", short(b, b.chosen.m), e.set.Measurands.Find(id).Short, it.text(b.alias.Unit), b.chosen.text(b.alias.Unit))}
		s.repair = e.repair(b, it, true)
		for _, m := range list {
			s.repair[m] = correction{b.chosen.x / it.x, b.chosen.halfStep / max(it.halfStep, math.SmallestNonzeroFloat32)}
		}
		s.outside = true
		out = append(out, s)
	}
	return out
}

// looksAt reports whether the rule looks at the measurement.
func (e *evaluation) looksAt(m *echo.Measurement) bool {
	return slices.ContainsFunc(e.measuredNames(), func(name string) bool { return e.bindings[name].chosen.m == m })
}

// bodySize supposes that the number of the height was entered as the weight, and
// the other way round, when the rule looks at one of them alone.
func (e *evaluation) bodySize(name string, b *binding) []supposition {
	partner := map[string]string{"body-height": "body-weight", "body-weight": "body-height"}[b.chosen.m.Measurand]
	values := e.byMeasurand[partner]
	if e.rule.Recompute != nil || len(values) == 0 || values[len(values)-1].Canonical == nil {
		return nil
	}
	other := values[len(values)-1]
	x := other.Canonical.Value.Float()
	s := e.one(sizeExchanged, name, x, "height and weight exchanged")
	if s.telling = true; x != 0 && b.chosen.x != 0 {
		s.repair[other] = correction{b.chosen.x / x, b.chosen.x / x}
	}
	return []supposition{s}
}

// others supposes the value of another beat or view of the same quantity, or of
// its like at another site or by another method.
func (e *evaluation) others(name string, b *binding) []supposition {
	var out []supposition
	for _, id := range sortedNames(e.byMeasurand) {
		kind, why := otherKind, ""
		if id == b.chosen.m.Measurand {
			kind, why = otherBeat, "another value of the same"
		} else if !alike(id, b.chosen.m.Measurand) {
			continue
		}
		for _, m := range e.byMeasurand[id] {
			it, ok := e.item(m, b.alias.Unit)
			if !ok || m == b.chosen.m || it.x == b.chosen.x {
				continue
			}
			label := why
			if kind == otherKind {
				label = "that of " + e.set.Measurands.Find(id).Short
			}
			out = append(out, e.supposition(kind, name, it, insteadOf(b, it.text(b.alias.Unit), label)))
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
func (e *evaluation) indexed() []supposition {
	if e.rule.Recompute == nil {
		return nil
	}
	stated := e.bindings[e.rule.Recompute.Stated]
	areas := e.byMeasurand["body-surface-area"]
	if stated.chosen.m == nil || len(areas) == 0 || areas[len(areas)-1].Canonical == nil {
		return nil
	}
	bsa := areas[len(areas)-1].Canonical.Value.Float()
	if bsa <= 0 {
		return nil
	}
	name := e.rule.Recompute.Stated
	return []supposition{
		e.one(indexing, name, stated.chosen.x*bsa, "divided by the body surface area once too often"),
		e.one(indexing, name, stated.chosen.x/bsa, "not divided by the body surface area"),
	}
}
