package slip

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"echotally/internal/answer"
	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/mistake"
)

// one is the supposition that a single value was x instead.
func (t *tested) one(kind *mistake.Slip, name string, x float64, why string) supposition {
	b := t.Binding(name)
	it := b.Chosen
	if it.X != 0 {
		it.HalfStep *= math.Abs(x / it.X)
	}
	it.X = x
	text := func() string { return t.instead(name, x, why) }
	if kind.Identifier == unitSlip {
		b := t.Binding(name)
		text = func() string { return insteadOf(b, answer.WithUnit(x, b.Alias.Unit), why) } // the unit is what is in doubt
	}
	return t.supposition(kind, name, it, text)
}

func insteadOf(b *answer.Binding, is, why string) string {
	return fmt.Sprintf("%s %s instead of %s (%s)", short(b, b.Chosen.Measurement), is, b.Chosen.Text(b.Alias.Unit), why)
}

// likewise writes a number of the alias in the unit in which the record has the
// value that counts.
func likewise(b *answer.Binding, x float64) string {
	if m := b.Chosen.Measurement; m != nil {
		if f, err := b.Alias.Unit.FactorTo(m.Quantity.Unit); err == nil {
			factor, _ := f.Float64()
			return answer.WithUnit(x*factor, m.Quantity.Unit)
		}
	}
	return answer.WithUnit(x, b.Alias.Unit)
}

func (t *tested) instead(name string, x float64, why string) string {
	b := t.Binding(name)
	return insteadOf(b, likewise(b, x), why)
}

// supposition is the supposition that an alias held another value: because the
// record is wrong, or because the stated value was computed from that other.
func (t *tested) supposition(kind *mistake.Slip, name string, it answer.Item, text func() string) supposition {
	b := t.Binding(name)
	s := supposition{kind: kind, changes: []answer.Supposed{{Alias: name, Item: it}}, subject: b.Chosen.Measurement.Measurand, text: text}
	d := t.Rule.Recompute
	input := d != nil && name != d.Stated
	if b.Chosen.X != 0 && it.X != 0 && !(input && kind.Computing) {
		s.repair = t.repair(b, it, kind.Early)
	}
	if input && (kind.Computing || kind.Reckoned && !t.ofItsOwn()) { // a mean is of the beats as they stand
		s.recomputed = t.recomputed()
	}
	return s
}

// computable is the first form of the recomputation whose inputs are there.
func (t *tested) computable(stated *answer.Binding) func(expr.Values) float64 {
	for _, form := range t.Rule.Recompute.Forms {
		if eval := t.InUnit(form.Value, stated.Alias.Unit); !math.IsNaN(eval(t.Value)) {
			return eval
		}
	}
	return t.InUnit(t.Rule.Recompute.Forms[0].Value, stated.Alias.Unit)
}

// repair puts a value right, and with it the beats and views that carry the
// same slip.
func (t *tested) repair(b *answer.Binding, it answer.Item, all bool) corrections {
	f := correction{it.X / b.Chosen.X, 1}
	if b.Chosen.HalfStep > 0 {
		f.step = it.HalfStep / b.Chosen.HalfStep
	}
	out := corrections{b.Chosen.Measurement: f}
	for _, m := range t.Of(b.Chosen.Measurement.Measurand) {
		other, ok := t.Item(m, b.Alias.Unit)
		if ok && all && math.Abs(math.Log(other.X/b.Chosen.X)) < math.Log(t.Library.Mistakes.Limits.OneSlip) {
			out[m] = f
		}
	}
	return out
}

// turnedRound puts two values that stand in each other's place right, and with
// them their beats: one for one where there are as many of either.
func (t *tested) turnedRound(a, b *answer.Binding, one, two answer.Item) corrections {
	if a.Chosen.Measurement.Measurand == b.Chosen.Measurement.Measurand { // two phases of one quantity
		out := t.repair(a, one, false)
		maps.Copy(out, t.repair(b, two, false))
		return out
	}
	out, second := t.repair(a, one, true), t.repair(b, two, true)
	order := func(list []*echo.Measurement, of corrections) []*echo.Measurement {
		return slices.DeleteFunc(slices.Clone(list), func(m *echo.Measurement) bool { _, is := of[m]; return !is })
	}
	first, other := order(t.Of(a.Chosen.Measurement.Measurand), out), order(t.Of(b.Chosen.Measurement.Measurand), second)
	maps.Copy(out, second)
	if len(first) == len(other) && len(first) > 1 {
		for i := range first {
			x, _ := t.Item(first[i], a.Alias.Unit)
			y, _ := t.Item(other[i], b.Alias.Unit)
			out[first[i]] = correction{y.X * one.X / b.Chosen.X / x.X, out[first[i]].step}
			out[other[i]] = correction{x.X * two.X / a.Chosen.X / y.X, out[other[i]].step}
		}
	}
	return out
}

// recomputed puts the stated value right by what its inputs give.
func (t *tested) recomputed() corrections {
	stated := t.Binding(t.Rule.Recompute.Stated)
	x := t.computable(stated)(t.Value)
	if f := x / stated.Chosen.X; stated.Chosen.Measurement != nil && !math.IsNaN(f) && !math.IsInf(f, 0) {
		return corrections{stated.Chosen.Measurement: {f, 1}}
	}
	return nil
}
