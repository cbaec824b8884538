package check

import (
	"fmt"
	"math"
)

// copyReach is how far a copied value may lie from the one it stands for.
const copyReach = 1000

// copies supposes that a value was copied from another item: the same digits
// stand there. What it should be is what the relation gives.
func (e *evaluation) copies(name string, b *binding, beyond bool) []supposition {
	text := b.chosen.m.ValueText
	if digitCount(text) < 2 {
		return nil
	}
	for i := range e.study.Measurements {
		m := &e.study.Measurements[i]
		if m == b.chosen.m || m.Measurand == "" || m.Measurand == b.chosen.m.Measurand || m.Superseded || m.ValueText != text {
			continue
		}
		other := e.set.Measurands.Find(m.Measurand)
		if other == nil || other.Unit.Dimension() != b.alias.Unit.Dimension() {
			continue
		}
		x := e.wanted(name, copyReach)
		if math.IsNaN(x) || x == 0 {
			return nil
		}
		it := b.chosen
		it.x = x
		s := e.supposition(copied, name, it, fmt.Sprintf("%s is also the value of %s (item %s), perhaps copied: ", b.chosen.text(b.alias.Unit), other.Short, m.Source.Item))
		s.telling = beyond || e.looksAt(m) || digitCount(text) > 2
		return []supposition{s}
	}
	return nil
}

// edits supposes that an input was measured again after the stated value had
// been computed from it.
func (e *evaluation) edits(name string) []supposition {
	x, b := e.wanted(name, 2), e.bindings[name]
	if name == e.rule.Recompute.Stated || !(math.Abs(math.Log(x/b.chosen.x)) < mostEdited) {
		return nil
	}
	return []supposition{e.one(edited, name, x, "changed later, the result not made again")}
}

// mostEdited is how much, on the log scale, a second look at a measurement may
// change it and still be taken for one (site choice): half as much again.
const mostEdited = 0.405

// wanted is the value of an alias that would make the relation hold, the others
// being right; NaN when there is none in reach.
func (e *evaluation) wanted(name string, reach float64) float64 {
	b := e.bindings[name]
	d := e.rule.Recompute
	if d == nil {
		if low, high, known := e.plausible(b.chosen.m.Measurand); known && low > 0 {
			return math.Sqrt(low * high)
		}
		return e.nearest(name, reach)
	}
	stated := e.bindings[d.Stated]
	form := e.computable(stated)
	if name == d.Stated {
		return form(e.value)
	}
	miss := func(x float64) float64 {
		it := b.chosen
		it.x = x
		return form(e.supposing(map[string]item{name: it}).value) - stated.chosen.x
	}
	return crossing(miss, b.chosen.x, reach)
}

// nearest is the value next to the recorded one with which a demand holds.
func (e *evaluation) nearest(name string, reach float64) float64 {
	it := e.bindings[name].chosen
	x := it.x
	for by := 1.05; by < reach && x > 0; by *= 1.05 {
		for _, try := range []float64{x * by, x / by} {
			it.x = try
			if e.supposing(map[string]item{name: it}).holds() {
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
