package check

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"echotally/internal/finding"
	"echotally/internal/measurand"
)

// supposition is one slip, undone: the values as they would be without it.
type supposition struct {
	kind       slip
	changes    map[string]item // by alias of the relation it is tried on
	repair     corrections     // the recorded values put right; empty when they are right
	recomputed corrections     // the stated value put right, when only its computing went wrong
	outside    bool            // an exchange with what the relation does not look at
	telling    bool            // it would explain even a loosely tied relation
	text       string          // what is different, in words; the arithmetic is added
	subject    string          // measurand the slip sits on
}

// slip is a kind of single mistake. The order is how commonly each occurs in
// echo reports (site choice, from the trade; no count has been published).
type slip struct {
	identifier string
	commonness int  // 1 most common
	upstream   bool // happens before the scanner computes as well as after
	computing  bool // the recorded values are right; what was computed from them is not
}

var (
	unitSlip       = slip{"unit-slip", 1, true, false}
	exchanged      = slip{"exchanged", 1, true, false}
	sizeExchanged  = slip{"height-and-weight-exchanged", 1, true, false}
	atrialPressure = slip{"atrial-pressure", 2, false, true}
	imperial       = slip{"pounds-or-inches", 2, true, false}
	radius         = slip{"radius-for-diameter", 2, true, false}
	indexing       = slip{"indexing", 2, false, false}
	copied         = slip{"copied", 2, false, false}
	otherBeat      = slip{"other-value-of-the-same", 3, false, true}
	otherKind      = slip{"other-site-or-method", 3, false, true}
	transposed     = slip{"digits-transposed", 4, false, false}
	notSquared     = slip{"not-squared", 4, false, true}
	decimalPoint   = slip{"decimal-point", 4, true, false}
	dropped        = slip{"digit-dropped", 5, false, false}
	edited         = slip{"kept-after-edit", 6, false, false}
)

// supposing is the evaluation with some values replaced.
func (e *evaluation) supposing(changes map[string]item) *evaluation {
	c := *e
	c.supposed = true
	if d := e.rule.Recompute; d != nil {
		_, c.restated = changes[d.Stated]
	}
	c.bindings = maps.Clone(e.bindings)
	for name, it := range changes {
		b := *e.bindings[name]
		b.items = slices.Clone(b.items)
		for i := range b.items {
			if b.items[i].m == b.chosen.m {
				b.items[i] = it
			}
		}
		b.chosen = it
		c.bindings[name] = &b
	}
	return &c
}

func (e *evaluation) holds() bool {
	e.reading = e.silent()
	var res finding.Result
	e.verdict(&res)
	return res.Outcome == finding.Pass
}

// fit is how far, relative to the stated value, the best form misses it, with
// the arithmetic that shows it; 0 for a relation that is no recomputation.
func (e *evaluation) fit() (float64, string) {
	demand := e.rule.Recompute
	if demand == nil {
		return e.distance(), "then it would hold"
	}
	stated := e.bindings[demand.Stated]
	best, text := math.Inf(1), ""
	for _, form := range demand.Forms {
		x := e.inUnitOf(form.Value, stated)(e.value)
		if miss := math.Abs(x-stated.chosen.x) / math.Abs(stated.chosen.x); miss < best {
			best = miss
			text = e.gives(form.Title, x, stated)
		}
	}
	return best, text
}

// gives tells what a form of the recomputation gives. It is "as stated" only
// where it is, to the digits shown; an allowance or rounding may let it differ,
// and the stated value may itself be what is supposed wrong.
func (e *evaluation) gives(form string, x float64, stated *binding) string {
	is, says := stated.likewise(x), stated.likewise(stated.chosen.x)
	switch {
	case e.restated:
		return fmt.Sprintf("%s is what the others give (%s)", is, form)
	case is == says:
		return fmt.Sprintf("gives %s, as stated (%s)", is, form)
	}
	return fmt.Sprintf("gives %s, near the stated %s (%s)", is, says, form)
}

// distance is how far a value lies from the middle of its plausible range, on
// the log scale, for a rule that demands that range; otherwise 0.
func (e *evaluation) distance() float64 {
	name, _, _, is := e.rule.Bounds()
	if !is {
		return 0
	}
	low, high, known := e.plausible(e.rule.Aliases[name].Measurands[0].Identifier)
	x := e.bindings[name].chosen.x
	if !known || low <= 0 || x <= 0 {
		return 0
	}
	return math.Abs(math.Log(x / math.Sqrt(low*high)))
}

// far is how many ranks a value falls behind for lying near an end of its
// plausible range, for a rule that demands that range.
func (e *evaluation) far() int {
	name, _, _, is := e.rule.Bounds()
	if !is {
		return 0
	}
	low, high, known := e.plausible(e.rule.Aliases[name].Measurands[0].Identifier)
	if !known || low <= 0 {
		return 0
	}
	return int(4 * e.distance() / math.Log(math.Sqrt(high/low)))
}

// possible reports whether every supposed value lies within the plausible range
// that a rule of the form between(x, low, high) gives for its measurand; a
// measurand without such a rule is possible. No share of a whole exceeds 100 %.
func (e *evaluation) possible(changes map[string]item) bool {
	for name, it := range changes {
		if it.x <= 0 || it.x > 100 && e.bindings[name].alias.Unit.Code() == "%" {
			return false
		}
		for _, m := range e.bindings[name].alias.Measurands {
			low, high, ok := e.plausible(m.Identifier)
			if ok && (it.x < low || it.x > high) {
				return false
			}
		}
	}
	return true
}

// bounds is a plausible range.
type bounds struct {
	low, high float64
	known     bool
}

// plausible is the range of a measurand, in its unit.
func (r *reading) plausible(identifier string) (low, high float64, ok bool) {
	b, seen := r.ranges[identifier]
	if !seen {
		b.low, b.high, b.known = r.rangeOf(identifier)
		r.ranges[identifier] = b
	}
	return b.low, b.high, b.known
}

func (r *reading) rangeOf(identifier string) (low, high float64, ok bool) {
	for _, one := range r.set.Rules {
		name, lowName, highName, is := one.Bounds()
		if !is || !slices.ContainsFunc(one.Aliases[name].Measurands, func(m *measurand.Measurand) bool { return m.Identifier == identifier }) {
			continue
		}
		e := &evaluation{reading: r, rule: one, bindings: map[string]*binding{}}
		unit := one.Aliases[name].Unit
		bound := func(parameter string) float64 {
			p := one.Parameters[parameter]
			x, _ := e.parameter(p)
			if f, err := p.Unit.FactorTo(unit); err == nil {
				factor, _ := f.Float64()
				return x * factor
			}
			return math.NaN()
		}
		low, high = bound(lowName), bound(highName)
		return low, high, !math.IsNaN(low) && !math.IsNaN(high)
	}
	return 0, 0, false
}
