package check

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"echotally/internal/echo"
	"echotally/internal/ucum"
)

// suppositions lists every single slip that could stand behind the values the
// rule looked at. A mere order (systole below diastole) is so easily met that
// only an exchange explains it, or a slip of unit in a value that cannot be
// right by itself.
func (e *evaluation) suppositions() []supposition {
	var out []supposition
	names := e.measuredNames()
	for _, name := range names {
		b := e.bindings[name]
		if e.rule.Recompute != nil || e.impossible(name) {
			out = append(out, e.factors(name, b)...)
			out = append(out, e.bodySize(name, b)...)
		}
		if e.rule.Recompute != nil {
			out = append(out, e.pressures(name, b)...)
			out = append(out, e.others(name, b)...)
			out = append(out, e.digits(name, b)...)
		}
		for _, other := range names {
			if other > name {
				out = append(out, e.exchange(name, other)...)
			}
		}
	}
	return append(append(out, e.indexed()...), e.copies()...)
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

// one is the supposition that a single value was x instead.
func (e *evaluation) one(kind slip, name string, x float64, why string) supposition {
	b := e.bindings[name]
	it := b.chosen
	if it.x != 0 {
		it.halfStep *= math.Abs(x / it.x)
	}
	it.x = x
	return supposition{kind: kind, changes: map[string]item{name: it}, subject: it.m.Measurand,
		text: fmt.Sprintf("with %s instead of %s (%s; %s): ", withUnit(x, b.alias.Unit), b.chosen.text(b.alias.Unit), short(b, it.m), why)}
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
func factorsOf(d ucum.Dimension, measurand string) []factor {
	var out []factor
	both := func(by float64, kind slip, up, down string) {
		out = append(out, factor{by, kind, up}, factor{1 / by, kind, down})
	}
	switch d {
	case length:
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
		both(100, unitSlip, "fraction taken for percent", "percent taken for fraction")
	}
	if measurand == "body-weight" {
		out = append(out, factor{0.45359237, imperial, "pounds taken for kilograms"}, factor{1 / 0.45359237, imperial, "kilograms converted once too often"})
	}
	if measurand == "body-height" {
		out = append(out, factor{2.54, imperial, "inches taken for centimetres"}, factor{1 / 2.54, imperial, "centimetres converted once too often"})
	}
	if d != length {
		both(10, decimalPoint, "decimal point one place off", "decimal point one place off")
	}
	return out
}

func (e *evaluation) factors(name string, b *binding) []supposition {
	var out []supposition
	d := b.alias.Unit.Dimension()
	for _, f := range factorsOf(d, b.chosen.m.Measurand) {
		if f.kind == radius && e.rule.Recompute == nil {
			continue // nothing but a size out of range would speak for it
		}
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
	return []supposition{{kind: kind, changes: map[string]item{first: one, second: two}, subject: a.chosen.m.Measurand,
		text: fmt.Sprintf("with %s and %s exchanged (%s, %s): ", short(a, a.chosen.m), short(b, b.chosen.m), withUnit(x, a.alias.Unit), withUnit(y, b.alias.Unit))}}
}

// bodySize supposes that the number of the height was entered as the weight, or
// the other way round, when the rule looks at one of them alone.
func (e *evaluation) bodySize(name string, b *binding) []supposition {
	partner := map[string]string{"body-height": "body-weight", "body-weight": "body-height"}[b.chosen.m.Measurand]
	values := e.byMeasurand[partner]
	if e.rule.Recompute != nil || len(values) == 0 || values[len(values)-1].Canonical == nil {
		return nil
	}
	x := values[len(values)-1].Canonical.Value.Float()
	return []supposition{e.one(sizeExchanged, name, x, "height and weight exchanged")}
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
			out = append(out, supposition{kind: kind, changes: map[string]item{name: it}, subject: b.chosen.m.Measurand,
				text: fmt.Sprintf("with %s instead of %s (%s; %s): ", it.text(b.alias.Unit), b.chosen.text(b.alias.Unit), short(b, b.chosen.m), label)})
		}
	}
	return out
}

// alike reports whether two measurand identifiers share at least half their
// words: the same property at another site, or the same quantity by another
// method.
func alike(a, b string) bool {
	first, second := strings.Split(a, "-"), strings.Split(b, "-")
	shared := 0
	for _, w := range first {
		if slices.Contains(second, w) {
			shared++
		}
	}
	return 2*shared >= len(first)+len(second)-shared
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

// copies supposes that the stated value was copied from another item: the same
// digits stand there. What it should be is what the inputs give.
func (e *evaluation) copies() []supposition {
	if e.rule.Recompute == nil {
		return nil
	}
	stated := e.bindings[e.rule.Recompute.Stated]
	if stated.chosen.m == nil || digitCount(stated.chosen.m.ValueText) < 2 {
		return nil
	}
	for i := range e.study.Measurements {
		m := &e.study.Measurements[i]
		if m == stated.chosen.m || m.Measurand == "" || m.Measurand == stated.chosen.m.Measurand || m.Superseded || m.ValueText != stated.chosen.m.ValueText {
			continue
		}
		other := e.set.Measurands.Find(m.Measurand)
		if other == nil || other.Unit.Dimension() != stated.alias.Unit.Dimension() {
			continue
		}
		it := stated.chosen
		it.x = e.inUnitOf(e.rule.Recompute.Forms[0].Value, stated)(e.value)
		return []supposition{{kind: copied, changes: map[string]item{e.rule.Recompute.Stated: it}, subject: stated.chosen.m.Measurand,
			text: fmt.Sprintf("%s is also the value of %s (item %s); without the copy: ", stated.chosen.text(stated.alias.Unit), other.Short, m.Source.Item)}}
	}
	return nil
}

// digitCount is the number of significant digits of a written number.
func digitCount(text string) int {
	return len(strings.Trim(strings.ReplaceAll(strings.TrimLeft(text, "-+0."), ".", ""), " "))
}

// digits supposes two neighbouring digits transposed, or one dropped.
func (e *evaluation) digits(name string, b *binding) []supposition {
	text := b.chosen.m.Quantity.Value.Text()
	if len(text) > 6 || b.chosen.x == 0 {
		return nil // full machine digits are not typed
	}
	written := b.chosen.m.Quantity.Value.Float()
	var out []supposition
	try := func(changed string, kind slip, why string) {
		x, err := strconv.ParseFloat(changed, 64)
		if err == nil && x != written && written != 0 {
			s := e.one(kind, name, b.chosen.x*x/written, why)
			it := s.changes[name]
			it.halfStep = b.chosen.halfStep
			s.changes[name] = it
			out = append(out, s)
		}
	}
	for i := 0; i+1 < len(text); i++ {
		j := i + 1
		if text[j] == '.' && j+1 < len(text) {
			j++
		}
		if digit(text[i]) && digit(text[j]) && text[i] != text[j] {
			t := []byte(text)
			t[i], t[j] = t[j], t[i]
			try(string(t), transposed, "two digits transposed")
		}
	}
	if !strings.Contains(text, ".") {
		for i := 0; i <= len(text); i++ {
			for d := byte('0'); d <= '9'; d++ {
				if i == 0 && d == '0' {
					continue
				}
				try(text[:i]+string(d)+text[i:], dropped, "a digit dropped")
			}
		}
	}
	return out
}

func digit(c byte) bool { return c >= '0' && c <= '9' }
