package slip

import (
	"fmt"
	"math"
	"slices"

	"echotally/internal/answer"
	"echotally/internal/echo"
	"echotally/internal/mistake"
)

// swapped is the slip of two measurands whose numbers change places, nil when
// they are no such pair.
func (t *tested) swapped(a, b string) *mistake.Swapped {
	for i := range t.Library.Mistakes.Swapped {
		if s := &t.Library.Mistakes.Swapped[i]; s.First == a && s.Second == b || s.First == b && s.Second == a {
			return s
		}
	}
	return nil
}

// exchange supposes two values written in each other's place.
func (t *tested) exchange(first, second string) []supposition {
	a, b := t.Binding(first), t.Binding(second)
	kind, pair := t.kind(exchanged), t.swapped(a.Chosen.Measurement.Measurand, b.Chosen.Measurement.Measurand)
	x, y := b.Chosen.X, a.Chosen.X
	switch {
	case pair != nil:
		kind = pair.Slip // the numbers change places, not the units
	case kind == nil:
		return nil
	case a.Alias.Unit.Dimension() != b.Alias.Unit.Dimension():
		return nil
	default:
		if f, err := b.Alias.Unit.FactorTo(a.Alias.Unit); err == nil {
			factor, _ := f.Float64()
			x, y = x*factor, y/factor
		}
	}
	if a.Chosen.Measurement.Measurand == b.Chosen.Measurement.Measurand && !otherPhase(a.Chosen.Measurement, b.Chosen.Measurement) {
		return nil // a beat and the mean of it
	}
	if t.Library.Mistakes.SameButMethod(a.Chosen.Measurement.Measurand, b.Chosen.Measurement.Measurand) {
		return nil // either is near what the other should be, whichever is wrong
	}
	one, two := a.Chosen, b.Chosen
	one.X, two.X = x, y
	one.HalfStep, two.HalfStep = two.HalfStep, one.HalfStep
	out := supposition{kind: kind, changes: []answer.Supposed{{Alias: first, Item: one}, {Alias: second, Item: two}}, subject: a.Chosen.Measurement.Measurand, pair: true,
		text: func() string {
			return fmt.Sprintf("%s and %s exchanged (%s, %s)", short(a, a.Chosen.Measurement), short(b, b.Chosen.Measurement), answer.WithUnit(x, a.Alias.Unit), answer.WithUnit(y, b.Alias.Unit))
		}}
	if a.Chosen.X != 0 && b.Chosen.X != 0 {
		out.repair = t.turnedRound(a, b, one, two)
	}
	return []supposition{out}
}

// otherPhase reports whether two values are of different phases of the heart or
// of breathing.
func otherPhase(a, b *echo.Measurement) bool {
	differ := func(p, q *echo.Modifier) bool { return p != nil && q != nil && p.Concept.Key() != q.Concept.Key() }
	return differ(a.Modifiers.RespiratoryCyclePoint, b.Modifiers.RespiratoryCyclePoint) || differ(a.Modifiers.CardiacCyclePoint, b.Modifiers.CardiacCyclePoint)
}

// exchangeOutside supposes a value exchanged with its like that another rule
// looks at: septal with lateral.
func (t *tested) exchangeOutside(name string, b *answer.Binding) []supposition {
	kind := t.kind(exchanged)
	if kind == nil {
		return nil
	}
	var out []supposition
	for _, id := range t.Measurands() {
		list := t.Of(id)
		at := len(list) - 1
		if i := slices.IndexFunc(list, t.x.impossible); i >= 0 && t.alone() {
			at = i
		}
		it, ok := t.Item(list[at], b.Alias.Unit)
		if !ok || it.X == b.Chosen.X || t.looksAt(it.Measurement) || it.X == 0 || b.Chosen.X == 0 {
			continue
		}
		both := t.alone() && t.x.impossible(it.Measurement)
		if !both && t.impossible(name) {
			continue // nor may the other have it
		}
		if own := b.Chosen.Measurement.Measurand; !both && (!t.Library.Mistakes.Alike(id, own) || t.Library.Mistakes.SameButMethod(id, own)) {
			continue
		}
		s := supposition{kind: kind, changes: []answer.Supposed{{Alias: name, Item: it}}, subject: b.Chosen.Measurement.Measurand,
			text: func() string {
				return fmt.Sprintf("%s and %s exchanged (%s, %s)", short(b, b.Chosen.Measurement), t.Library.Measurands.Find(id).Short, it.Text(b.Alias.Unit), b.Chosen.Text(b.Alias.Unit))
			}}
		s.repair = t.repair(b, it, true)
		for _, m := range list {
			if o, ok := t.Item(m, b.Alias.Unit); ok && math.Abs(math.Log(o.X/it.X)) < math.Log(t.Library.Mistakes.Limits.OneSlip) {
				s.repair[m] = correction{b.Chosen.X / it.X, b.Chosen.HalfStep / max(it.HalfStep, math.SmallestNonzeroFloat32)}
			}
		}
		s.outside, s.other, s.telling = true, it.Measurement, both
		out = append(out, s)
	}
	return out
}

// alone reports whether the relation is about one value, that it may not have.
func (t *tested) alone() bool {
	_, is := t.x.ranges.Alias(t.Rule)
	return is
}

// impossible reports whether a value failed a relation about it alone.
func (x *explainer) impossible(m *echo.Measurement) bool {
	return slices.ContainsFunc(x.about[m], func(t *tested) bool { return t.failed && t.alone() })
}

// looksAt reports whether the rule looks at the measurement.
func (t *tested) looksAt(m *echo.Measurement) bool {
	return slices.ContainsFunc(t.names, func(name string) bool { return t.Binding(name).Chosen.Measurement == m })
}

// beside supposes that the number of the neighbour on the entry form was entered
// instead, and the other way round, when the rule looks at one of them alone.
func (t *tested) beside(name string, b *answer.Binding) []supposition {
	if t.Rule.Recompute != nil {
		return nil
	}
	var out []supposition
	for _, pair := range t.Library.Mistakes.Swapped {
		partner := pair.First
		switch b.Chosen.Measurement.Measurand {
		case pair.First:
			partner = pair.Second
		case pair.Second:
		default:
			continue
		}
		other, x := t.last(partner)
		if other == nil {
			continue
		}
		s := t.one(pair.Slip, name, x, pair.Title)
		if s.telling = true; x != 0 && b.Chosen.X != 0 {
			s.repair[other] = correction{b.Chosen.X / x, b.Chosen.X / x}
		}
		out = append(out, s)
	}
	return out
}
