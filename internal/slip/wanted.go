package slip

import (
	"fmt"
	"math"

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
		other := t.Library.Measurands.Find(m.Measurand)
		if other == nil || other.Unit.Dimension() != b.Alias.Unit.Dimension() {
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
		s.telling = beyond || t.looksAt(m) || digitCount(text) > limits.CopiedDigits
		if !beyond && t.coincidence(b)*float64(kind.Commonness) > limits.Chance {
			return nil
		}
		return []supposition{s}
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
	stated := t.Binding(t.Rule.Recompute.Stated).Chosen
	it := &s.changes[0].Item
	it.HalfStep = math.Abs(x * stated.HalfStep / stated.X) // what is known of the older value is known by its result
	s.repair = t.repair(b, *it, kind.Early)
	return []supposition{s}
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
