package slip

import (
	"fmt"
	"math"

	"echotally/internal/answer"
	"echotally/internal/check"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/mistake"
)

// supposition is one slip, undone: the values as they would be without it.
type supposition struct {
	kind       *mistake.Slip
	changes    []answer.Supposed // for aliases of the relation it is tried on
	repair     corrections       // the recorded values put right; empty when they are right
	recomputed corrections       // the stated value put right, when only its computing went wrong
	pair       bool              // an exchange of two values the relation looks at
	outside    bool              // an exchange with what the relation does not look at: other
	other      *echo.Measurement
	telling    bool              // it would explain even a loosely tied relation
	seen       bool              // something else in the record shows it
	from       *echo.Measurement // of another item: what was put in or copied
	commonness int               // instead of that of its kind, when not 0
	text       func() string     // what is different, in words; the arithmetic is added
	subject    string            // measurand the slip sits on
	simple     bool              // not one of several values that might be put in
}

// variant names what candidates are counted with: those of its kind, or those
// that put in one of several values.
func (s supposition) variant() string {
	if s.simple {
		return s.kind.Identifier + " simple"
	}
	return s.kind.Identifier
}

// holds reports whether the demand holds with some values replaced.
func (t *tested) holds(changes ...answer.Supposed) bool {
	return check.Demand(t.Supposing(changes...)) == finding.Pass
}

// misfit is how far, relative to the stated value, the best form misses it on
// other answers; for a relation that is no recomputation it is the distance from
// the middle of its range.
func (t *tested) misfit(on *answer.Answers) float64 {
	if t.Rule.Recompute == nil {
		off, _ := t.inRange(on)
		return off
	}
	miss, _, _ := t.closest(on)
	return miss
}

// closest is the form that comes closest to the stated value, -1 when none
// gives one, what it gives, and how far it misses.
func (t *tested) closest(on *answer.Answers) (miss float64, form int, gives float64) {
	demand := t.Rule.Recompute
	stated := on.Binding(demand.Stated)
	miss, form = math.Inf(1), -1
	for i := range demand.Forms {
		x := on.InUnit(demand.Forms[i].Value, stated.Alias.Unit)(on.Value)
		if off := math.Abs(x-stated.Chosen.X) / math.Abs(stated.Chosen.X); off < miss {
			miss, form, gives = off, i, x
		}
	}
	return miss, form, gives
}

// fit is the arithmetic that shows how the relation holds on other answers.
func (t *tested) fit(on *answer.Answers) string {
	if t.Rule.Recompute == nil {
		return "then it would hold"
	}
	_, form, x := t.closest(on)
	if form < 0 {
		return ""
	}
	return t.gives(t.Rule.Recompute.Forms[form].Title, x, on.Binding(t.Rule.Recompute.Stated))
}

// gives tells what a form of the recomputation gives. It is "as stated" only
// where it is, to the digits shown; an allowance or rounding may let it differ,
// and the stated value may itself be what is supposed wrong.
func (t *tested) gives(form string, x float64, stated *answer.Binding) string {
	is, says := likewise(stated, x), likewise(stated, stated.Chosen.X)
	switch {
	case stated != t.Binding(t.Rule.Recompute.Stated):
		return fmt.Sprintf("%s is what the others give (%s)", is, form)
	case is == says:
		return fmt.Sprintf("gives %s, as stated (%s)", is, form)
	}
	return fmt.Sprintf("gives %s, near the stated %s (%s)", is, says, form)
}

// far is how many ranks a value falls behind for lying near an end of its
// plausible range, for a rule that demands that range.
func (t *tested) far(on *answer.Answers) int {
	off, half := t.inRange(on)
	if half == 0 {
		return 0
	}
	return int(4 * off / half)
}

// inRange is how far a value lies from the middle of the range the rule demands,
// and half that range, on the log scale; 0 when the rule demands none.
func (t *tested) inRange(on *answer.Answers) (off, half float64) {
	name, is := t.x.ranges.Alias(t.Rule)
	if !is {
		return 0, 0
	}
	low, high, known := t.plausible(t.Rule.Aliases[name].Measurands[0].Identifier)
	if !known || low <= 0 {
		return 0, 0
	}
	half = math.Log(math.Sqrt(high / low))
	if x := on.Binding(name).Chosen.X; x > 0 {
		off = math.Abs(math.Log(x / math.Sqrt(low*high)))
	}
	return off, half
}

// possible reports whether every supposed value lies within the plausible range
// that a rule of the form between(x, low, high) gives for its measurand; a
// measurand without such a rule is possible. No share of a whole exceeds 100 %.
func (t *tested) possible(changes []answer.Supposed) bool {
	for _, c := range changes {
		name, it := c.Alias, c.Item
		if it.X <= 0 || it.X > 100 && t.Binding(name).Alias.Unit.Code() == "%" {
			return false
		}
		for _, m := range t.Binding(name).Alias.Measurands {
			low, high, ok := t.plausible(m.Identifier)
			if ok && (it.X < low || it.X > high) {
				return false
			}
		}
	}
	return true
}

// plausible is the range of a measurand, in its unit.
func (t *tested) plausible(measurand string) (low, high float64, ok bool) {
	return t.x.ranges.Of(t.Reading, measurand)
}
