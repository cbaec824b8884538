package answer

import (
	"math"
	"slices"

	"echotally/internal/expr"
	"echotally/internal/ucum"
)

// SinglePrecision is the relative error of numbers that scanners compute in
// 32-bit floating point and send with all their digits: a few units in the
// last of 24 bits.
const SinglePrecision = 1.0 / (1 << 22)

// maxCorners bounds the inputs of which every combination of rounding is
// tried; beyond it their effects are added, which can only widen the range.
const maxCorners = 10

// InUnit evaluates a form in a unit.
func (a *Answers) InUnit(p *expr.Program, unit ucum.Unit) func(expr.Values) float64 {
	factor := a.factor(p.Unit, unit)
	return func(v expr.Values) float64 { return p.Eval(v) * factor }
}

// Reach is the range of results over all roundings of the inputs, in a unit.
// Formulas here are monotonic in each input over so small a step, so the ends
// lie at corners.
func (a *Answers) Reach(p *expr.Program, unit ucum.Unit) (low, high float64) {
	factor := a.factor(p.Unit, unit)
	about := a.rounded(p)
	if about.n > maxCorners {
		x, spread := p.EvalOf(about.at)*factor, 0.0
		for i := range about.n {
			up, down := p.EvalOf(about.moved(i, 1))*factor, p.EvalOf(about.moved(i, 0))*factor
			spread += max(math.Abs(up-x), math.Abs(down-x))
		}
		return x - spread, x + spread
	}
	low, high = math.Inf(1), math.Inf(-1)
	for corner := range 1 << about.n {
		x := p.EvalOf(about.corner(corner)) * factor
		low, high = min(low, x), max(high, x) // NaN stays NaN
	}
	return low, high
}

// rounding is what an expression asks for, with how far the rounding of what was
// recorded leaves it open.
type rounding struct {
	at   []float64 // the answers, by the order of the inputs
	by   []float64 // how far each may lie from what is written
	of   []int     // which recorded value each goes by, -1 for none
	n    int       // recorded values
	room []float64
}

// rounded asks for all that an expression asks for.
func (a *Answers) rounded(p *expr.Program) rounding {
	n := len(p.Inputs)
	numbers := make([]float64, 3*n)
	out := rounding{at: numbers[:n], by: numbers[n : 2*n], room: numbers[2*n:], of: make([]int, n)}
	for i := range p.Inputs {
		in := &p.Inputs[i]
		out.at[i], out.of[i] = a.Value(in), -1
		b := a.bindingOf(in)
		if b == nil || len(b.Items) == 0 {
			continue
		}
		if before := slices.IndexFunc(p.Inputs[:i], func(o expr.Input) bool { return o.Name == in.Name }); before >= 0 {
			out.of[i] = out.of[before]
		} else {
			out.of[i] = out.n
			out.n++
		}
		if in.Question == nil || in.Question.AsRecorded {
			out.by[i] = max(b.step(), math.Abs(out.at[i])*SinglePrecision)
		}
	}
	return out
}

// corner are the answers with the recorded values moved to an end of the interval
// their digits leave open: up where the bit of the corner is set, else down.
func (r *rounding) corner(corner int) []float64 {
	for i, x := range r.at {
		if k := r.of[i]; k >= 0 {
			x += (float64(corner>>k&1)*2 - 1) * r.by[i]
		}
		r.room[i] = x
	}
	return r.room
}

// moved are the answers with one recorded value moved, up or down.
func (r *rounding) moved(k, up int) []float64 {
	for i, x := range r.at {
		if r.of[i] == k {
			x += (float64(up)*2 - 1) * r.by[i]
		}
		r.room[i] = x
	}
	return r.room
}

// coarse is the share of a value that half of its last digit must be for the
// digits to be too few to tell an order (site choice: 1 mmHg on 10 mmHg).
const coarse = 0.05

// MayHold reports whether a condition holds for some numbers that would be
// written as these are, where that is with few digits: a mean and a peak of 1
// mmHg each may well be in order.
func (a *Answers) MayHold(p *expr.Program) bool {
	about := a.rounded(p)
	if about.n > maxCorners || !slices.ContainsFunc(p.Inputs, func(in expr.Input) bool {
		b := a.bindingOf(&in)
		return b != nil && len(b.Items) > 0 && b.step() >= coarse*math.Abs(b.Chosen.X)
	}) {
		return false
	}
	for corner := range 1 << about.n {
		if p.HoldsOf(about.corner(corner)) == expr.True {
			return true
		}
	}
	return false
}

// step is the largest rounding of the values that may stand behind the alias.
func (b *Binding) step() float64 {
	if b.Chosen.Measurement != nil {
		return b.Chosen.HalfStep
	}
	out := 0.0
	for _, i := range b.Items {
		out = max(out, i.HalfStep)
	}
	return out
}
