package check

import (
	"fmt"
	"math"

	"echotally/internal/expr"
)

// one is the supposition that a single value was x instead.
func (e *evaluation) one(kind slip, name string, x float64, why string) supposition {
	b := e.bindings[name]
	it := b.chosen
	if it.x != 0 {
		it.halfStep *= math.Abs(x / it.x)
	}
	it.x = x
	text := e.instead(name, x, why)
	if kind == unitSlip {
		b := e.bindings[name]
		text = insteadOf(b, withUnit(x, b.alias.Unit), why) // the unit is what is in doubt
	}
	return e.supposition(kind, name, it, text)
}

func insteadOf(b *binding, is, why string) string {
	return fmt.Sprintf("%s %s instead of %s (%s): ", short(b, b.chosen.m), is, b.chosen.text(b.alias.Unit), why)
}

// likewise writes a number of the alias in the unit in which the record has the
// value that counts.
func (b *binding) likewise(x float64) string {
	if m := b.chosen.m; m != nil {
		if f, err := b.alias.Unit.FactorTo(m.Quantity.Unit); err == nil {
			factor, _ := f.Float64()
			return withUnit(x*factor, m.Quantity.Unit)
		}
	}
	return withUnit(x, b.alias.Unit)
}

func (e *evaluation) instead(name string, x float64, why string) string {
	b := e.bindings[name]
	return insteadOf(b, b.likewise(x), why)
}

// supposition is the supposition that an alias held another value: because the
// record is wrong, or because the stated value was computed from that other.
func (e *evaluation) supposition(kind slip, name string, it item, text string) supposition {
	b := e.bindings[name]
	s := supposition{kind: kind, changes: map[string]item{name: it}, subject: b.chosen.m.Measurand, text: text}
	d := e.rule.Recompute
	input := d != nil && name != d.Stated
	if b.chosen.x != 0 && it.x != 0 && !(input && kind.computing) {
		s.repair = e.repair(b, it, kind.upstream)
	}
	if input && kind.reckoned() {
		s.recomputed = e.recomputed()
	}
	return s
}

// computable is the first form of the recomputation whose inputs are there.
func (e *evaluation) computable(stated *binding) func(expr.Values) float64 {
	for _, form := range e.rule.Recompute.Forms {
		if eval := e.inUnitOf(form.Value, stated); !math.IsNaN(eval(e.value)) {
			return eval
		}
	}
	return e.inUnitOf(e.rule.Recompute.Forms[0].Value, stated)
}

// reckoned reports whether a system may make the slip while it computes from
// values that are recorded rightly.
func (k slip) reckoned() bool {
	return k.computing || k == unitSlip || k == imperial || k == radius || k == exchanged || k == sizeExchanged
}

// repair puts a value right, and with it the beats and views that carry the
// same slip.
func (e *evaluation) repair(b *binding, it item, all bool) corrections {
	f := correction{it.x / b.chosen.x, 1}
	if b.chosen.halfStep > 0 {
		f.step = it.halfStep / b.chosen.halfStep
	}
	out := corrections{b.chosen.m: f}
	for _, m := range e.byMeasurand[b.chosen.m.Measurand] {
		other, ok := e.item(m, b.alias.Unit)
		if ok && all && math.Abs(math.Log(other.x/b.chosen.x)) < alikeWithin {
			out[m] = f
		}
	}
	return out
}

// alikeWithin is how far, on the log scale, beats and views of one quantity may
// lie apart and still carry one slip (site choice): no slip is so small.
const alikeWithin = 0.4

// recomputed puts the stated value right by what its inputs give.
func (e *evaluation) recomputed() corrections {
	stated := e.bindings[e.rule.Recompute.Stated]
	x := e.computable(stated)(e.value)
	if f := x / stated.chosen.x; stated.chosen.m != nil && !math.IsNaN(f) && !math.IsInf(f, 0) {
		return corrections{stated.chosen.m: {f, 1}}
	}
	return nil
}
