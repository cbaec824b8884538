package slip

import (
	"fmt"
	"math"
	"strings"

	"echotally/internal/answer"
)

// copies supposes that a value was copied from another item: the same digits
// stand there. What it should be is what the relation gives.
func (t *tested) copies(name string, b *answer.Binding, beyond bool) []supposition {
	text := b.Chosen.Measurement.ValueText
	kind, limits := t.kind(copied), t.Library.Mistakes.Limits
	if kind == nil || digitCount(text) < limits.CopiedDigits {
		return nil
	}
	for i := range t.Study.Measurements {
		m := &t.Study.Measurements[i]
		if m == b.Chosen.Measurement || m.Measurand == "" || m.Measurand == b.Chosen.Measurement.Measurand || m.Superseded || m.ValueText != text {
			continue
		}
		other, unit := t.Library.Measurands.Find(m.Measurand), b.Chosen.Measurement.Quantity.Unit
		if other == nil || m.Quantity == nil || m.Quantity.Unit.Code() != unit.Code() {
			continue
		}
		x := t.wanted(name, limits.CopyReach)
		if math.IsNaN(x) || x == 0 {
			return nil
		}
		it := b.Chosen
		it.X = x
		s := t.supposition(kind, name, it, func() string {
			return fmt.Sprintf("%s is also the value of %s (item %s), perhaps copied", b.Chosen.Text(b.Alias.Unit), other.Short, m.Source.Item)
		})
		s.telling, s.seen, s.from = beyond || t.looksAt(m) || digitCount(text) > limits.CopiedDigits, true, m
		chance := t.coincidence(b) * t.misreadBy(s) * float64(kind.Commonness)
		if t.looksAt(m) || t.Library.Mistakes.SameButMethod(m.Measurand, b.Chosen.Measurement.Measurand) { // as near each other as two looks at one: septum and posterior wall
			chance *= math.Log(limits.OneSlip) / math.Log(limits.MostEdited)
		}
		if !beyond && chance > limits.Chance {
			return nil
		}
		return []supposition{s}
	}
	return nil
}

// misplaced supposes that an impossible number was entered in the field of its
// neighbour: it stands there as well, in another unit.
func (t *tested) misplaced(name string, b *answer.Binding) []supposition {
	kind, limits := t.kind(copied), t.Library.Mistakes.Limits
	own := b.Chosen.Measurement
	if kind == nil || digitCount(own.ValueText) < limits.CopiedDigits {
		return nil
	}
	site, _, _ := strings.Cut(own.Measurand, "-")
	for _, id := range t.Measurands() {
		if at, _, _ := strings.Cut(id, "-"); at != site || id == own.Measurand {
			continue
		}
		other := t.Library.Measurands.Find(id)
		for _, m := range t.Of(id) {
			if other.Unit.Dimension() == b.Alias.Unit.Dimension() || m.Quantity == nil || m.Quantity.Value.Float() != own.Quantity.Value.Float() {
				continue
			}
			it := b.Chosen
			if it.X = t.wanted(name, limits.CopyReach); math.IsNaN(it.X) || it.X == 0 {
				return nil
			}
			s := t.supposition(kind, name, it, func() string {
				return fmt.Sprintf("%s has the number of %s, %s (item %s), perhaps entered in the wrong field", short(b, own), other.Short, answer.WithUnit(m.Quantity.Value.Float(), m.Quantity.Unit), m.Source.Item)
			})
			s.telling, s.seen, s.commonness = true, true, 1 // an impossible value that is its neighbour's
			return []supposition{s}
		}
	}
	return nil
}

// edits supposes that an input was measured again after the stated value had
// been computed from it.
func (t *tested) edits(name string) []supposition {
	kind, most := t.kind(edited), t.Library.Mistakes.Limits.MostEdited
	if kind == nil || name == t.Rule.Recompute.Stated {
		return nil
	}
	x, b := t.wanted(name, 2), t.Binding(name)
	if !(math.Abs(math.Log(x/b.Chosen.X)) < math.Log(most)) {
		return nil
	}
	s := t.one(kind, name, x, "changed later, the result not made again")
	s.seen = true // two results agree on it
	it := t.older(name, x)
	s.changes[0].Item = it
	s.repair = t.repair(b, it, kind.Early)
	return []supposition{s}
}

// older is another value of an input; what is known of it is known by the result.
func (t *tested) older(name string, x float64) answer.Item {
	stated, it := t.Binding(t.Rule.Recompute.Stated).Chosen, t.Binding(name).Chosen
	it.X, it.HalfStep = x, math.Abs(x*stated.HalfStep/stated.X)
	return it
}

// wanted is the value of an alias that would make the relation hold, the others
// being right; NaN when there is none in reach.
func (t *tested) wanted(name string, reach float64) float64 {
	b := t.Binding(name)
	d := t.Rule.Recompute
	if d == nil {
		if low, high, known := t.plausible(b.Chosen.Measurement.Measurand); known && low > 0 {
			return math.Sqrt(low * high)
		}
		return t.nearest(name, reach)
	}
	stated := t.Binding(d.Stated)
	form := t.computable(stated)
	if name == d.Stated {
		return form(t.Value)
	}
	miss := func(x float64) float64 {
		it := b.Chosen
		it.X = x
		return form(t.Supposing(answer.Supposed{Alias: name, Item: it}).Value) - stated.Chosen.X
	}
	return crossing(miss, b.Chosen.X, reach)
}

// nearest is the value next to the recorded one with which a demand holds.
func (t *tested) nearest(name string, reach float64) float64 {
	it := t.Binding(name).Chosen
	x := it.X
	for by := 1.05; by < reach && x > 0; by *= 1.05 {
		for _, try := range []float64{x * by, x / by} {
			it.X = try
			if t.holds(answer.Supposed{Alias: name, Item: it}) {
				return try
			}
		}
	}
	return math.NaN()
}

// crossing looks outwards from a start for a sign change and returns the root,
// NaN when there is none within the reach, a factor.
func crossing(f func(float64) float64, start, reach float64) float64 {
	if !(start > 0) {
		return math.NaN()
	}
	step := math.Pow(reach, 1.0/40)
	at := f(start)
	for up, down := start*step, start/step; up < reach*start; up, down = up*step, down/step {
		for _, span := range [][2]float64{{up / step, up}, {down, down * step}} {
			low, high := f(span[0]), f(span[1])
			if low*high <= 0 && !math.IsNaN(at) {
				return bisect(f, span[0], span[1])
			}
		}
	}
	return math.NaN()
}

func bisect(f func(float64) float64, low, high float64) float64 {
	below := f(low) < 0
	for range 60 {
		middle := (low + high) / 2
		if (f(middle) < 0) == below {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}
