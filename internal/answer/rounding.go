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
	eval := a.InUnit(p, unit)
	rounded := a.rounded(p)
	if len(rounded) > maxCorners {
		x, spread := eval(a.Value), 0.0
		for i := range rounded {
			up, down := eval(a.shifted(rounded[i:i+1], 1)), eval(a.shifted(rounded[i:i+1], 0))
			spread += max(math.Abs(up-x), math.Abs(down-x))
		}
		return x - spread, x + spread
	}
	low, high = math.Inf(1), math.Inf(-1)
	for corner := range 1 << len(rounded) {
		x := eval(a.shifted(rounded, corner))
		low, high = min(low, x), max(high, x) // NaN stays NaN
	}
	return low, high
}

// rounded are the aliases of an expression that have a recorded value.
func (a *Answers) rounded(p *expr.Program) []string {
	var out []string
	for _, in := range p.Inputs {
		if slices.Contains(out, in.Name) {
			continue
		}
		if b := a.Binding(in.Name); b != nil && len(b.Items) > 0 {
			out = append(out, in.Name)
		}
	}
	return out
}

// coarse is the share of a value that half of its last digit must be for the
// digits to be too few to tell an order (site choice: 1 mmHg on 10 mmHg).
const coarse = 0.05

// MayHold reports whether a condition holds for some numbers that would be
// written as these are, where that is with few digits: a mean and a peak of 1
// mmHg each may well be in order.
func (a *Answers) MayHold(p *expr.Program) bool {
	rounded := a.rounded(p)
	if len(rounded) > maxCorners || !slices.ContainsFunc(rounded, func(name string) bool {
		b := a.Binding(name)
		return b.step() >= coarse*math.Abs(b.Chosen.X)
	}) {
		return false
	}
	for corner := range 1 << len(rounded) {
		if p.Holds(a.shifted(rounded, corner)) == expr.True {
			return true
		}
	}
	return false
}

// shifted gives the values with some aliases moved to an end of the interval
// their digits leave open: up where the bit of the corner is set, else down.
func (a *Answers) shifted(names []string, corner int) expr.Values {
	return func(in *expr.Input) float64 {
		x := a.Value(in)
		i := slices.Index(names, in.Name)
		if i < 0 || in.Question != nil && !in.Question.AsRecorded {
			return x
		}
		sign := float64(corner>>i&1)*2 - 1
		return x + sign*max(a.Binding(in.Name).step(), math.Abs(x)*SinglePrecision)
	}
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
