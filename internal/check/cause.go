package check

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"

	"echotally/internal/finding"
)

// maxCauses is how many likely causes a result carries; a reader acts on the
// first one or two.
const maxCauses = 4

// supposition is one slip, undone: the values as they would be without it.
type supposition struct {
	kind    slip
	changes map[string]item
	text    string // what is different, in words; the arithmetic is added
	subject string // measurand the slip sits on
}

// slip is a kind of single mistake. The order is how commonly each occurs in
// echo reports (site choice, from the trade; no count has been published).
type slip struct {
	identifier string
	commonness int // 1 most common
}

var (
	unitSlip       = slip{"unit-slip", 1}
	exchanged      = slip{"exchanged", 1}
	sizeExchanged  = slip{"height-and-weight-exchanged", 1}
	atrialPressure = slip{"atrial-pressure", 2}
	imperial       = slip{"pounds-or-inches", 2}
	radius         = slip{"radius-for-diameter", 2}
	indexing       = slip{"indexing", 2}
	copied         = slip{"copied", 2}
	otherBeat      = slip{"other-value-of-the-same", 3}
	otherKind      = slip{"other-site-or-method", 3}
	transposed     = slip{"digits-transposed", 4}
	notSquared     = slip{"not-squared", 4}
	decimalPoint   = slip{"decimal-point", 4}
	dropped        = slip{"digit-dropped", 5}
)

// causes re-tests a failed relation under every single slip that could have
// made it fail, and returns those under which it holds, most likely first:
// values that are possible before values that are not, common slips before
// rare ones, close fits before loose ones.
func (e *evaluation) causes() []finding.Hypothesis {
	if e.rule.Kind != finding.Consistency || e.rule.Require == nil && e.rule.Recompute == nil {
		return nil
	}
	type holding struct {
		supposition
		rank   int
		misfit float64
		text   string
	}
	var found []holding
	for _, s := range e.suppositions() {
		c := e.supposing(s.changes)
		if !c.holds() {
			continue
		}
		misfit, arithmetic := c.fit()
		h := holding{supposition: s, rank: s.kind.commonness, misfit: misfit, text: s.text + arithmetic}
		if s.kind != atrialPressure && !e.possible(s.changes) {
			h.rank += 10
		}
		found = append(found, h)
	}
	slices.SortStableFunc(found, func(a, b holding) int {
		return cmp.Or(cmp.Compare(a.rank, b.rank), cmp.Compare(a.misfit, b.misfit))
	})
	var out []finding.Hypothesis
	for _, h := range found {
		again := slices.ContainsFunc(out, func(o finding.Hypothesis) bool {
			return o.Identifier == h.kind.identifier && o.Measurand == h.subject
		})
		if !again && len(out) < maxCauses {
			out = append(out, finding.Hypothesis{Identifier: h.kind.identifier, Text: h.text, Measurand: h.subject})
		}
	}
	return out
}

// supposing is the evaluation with some values replaced.
func (e *evaluation) supposing(changes map[string]item) *evaluation {
	c := *e
	c.supposed = true
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
	var res finding.Result
	e.verdict(&res)
	return res.Outcome == finding.Pass
}

// fit is how far, relative to the stated value, the best form misses it, with
// the arithmetic that shows it; 0 for a relation that is no recomputation.
func (e *evaluation) fit() (float64, string) {
	demand := e.rule.Recompute
	if demand == nil {
		return 0, "it would hold"
	}
	stated := e.bindings[demand.Stated]
	best, text := math.Inf(1), ""
	for _, form := range demand.Forms {
		x := e.inUnitOf(form.Value, stated)(e.value)
		if miss := math.Abs(x-stated.chosen.x) / math.Abs(stated.chosen.x); miss < best {
			best = miss
			text = fmt.Sprintf("%s gives %s, as stated", form.Title, withUnit(x, stated.alias.Unit))
		}
	}
	return best, text
}

// possible reports whether every supposed value lies within the plausible range
// that a rule of the form between(x, low, high) gives for its measurand; a
// measurand without such a rule is possible.
func (e *evaluation) possible(changes map[string]item) bool {
	for name, it := range changes {
		if it.x <= 0 {
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

// plausible is the range of a measurand, in its unit.
func (r *reading) plausible(measurand string) (low, high float64, ok bool) {
	for _, one := range r.set.Rules {
		name, lowName, highName, is := one.Bounds()
		if !is || one.Aliases[name].Measurands[0].Identifier != measurand {
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
