package check

import (
	"fmt"
	"math"
	"slices"

	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/rule"
)

// singlePrecision is the relative error of numbers that scanners compute in
// 32-bit floating point and send with all their digits: a few units in the
// last of 24 bits.
const singlePrecision = 1.0 / (1 << 22)

// maxCorners bounds the inputs of which every combination of rounding is
// tried; beyond it their effects are added, which can only widen the range.
const maxCorners = 10

// recompute asks whether the stated value can be reached from the inputs by
// one of the forms when every number may lie anywhere in the interval that its
// written digits leave open.
func (e *evaluation) recompute(res *finding.Result) {
	demand := e.rule.Recompute
	stated := e.bindings[demand.Stated]
	if len(stated.items) == 0 {
		res.Outcome, res.Missing = finding.Open, e.whyMissing(expr.Input{Name: demand.Stated})
		res.Message = cannotTell(res.Missing)
		return
	}
	e.preferGroupOf(stated.chosen)
	var failed []attempt
	for _, form := range demand.Forms {
		a := e.attempt(form, stated)
		switch a.fits {
		case expr.True:
			res.Outcome, res.Variant = finding.Pass, form.Title
			return
		case expr.False:
			failed = append(failed, a)
		default:
			res.Missing = append(res.Missing, e.missing(form.Value)...)
		}
	}
	if len(failed) == 0 {
		res.Outcome, res.Missing = finding.Open, compactMissing(res.Missing)
		res.Message = cannotTell(res.Missing)
		return
	}
	res.Outcome, res.Missing = finding.Fail, nil
	res.Message = fmt.Sprintf("%s stated, but %s = %s", stated.chosen.text(stated.alias.Unit), e.arithmetic(failed[0].form.Value), failed[0].shown)
}

// attempt is one form tried.
type attempt struct {
	form  rule.CompiledForm
	fits  expr.Truth
	shown string
}

func (e *evaluation) attempt(form rule.CompiledForm, stated *binding) attempt {
	a := attempt{form: form}
	x := e.inUnitOf(form.Value, stated)(e.value)
	low, high := e.reach(form.Value, stated)
	if math.IsNaN(low) || math.IsNaN(high) || math.IsNaN(x) {
		return a
	}
	s := stated.chosen
	slack := max(s.halfStep, math.Abs(s.x)*singlePrecision) + e.allowance(stated)
	noise := 1e-9 * max(math.Abs(low), math.Abs(high), math.Abs(s.x))
	a.fits = expr.False
	if s.x+slack >= low-noise && s.x-slack <= high+noise {
		a.fits = expr.True
	}
	a.shown = withUnit(x, stated.alias.Unit)
	return a
}

// inUnitOf evaluates a form in the unit of the stated value.
func (e *evaluation) inUnitOf(p *expr.Program, stated *binding) func(expr.Values) float64 {
	factor := 1.0
	if r, err := p.Unit.FactorTo(stated.alias.Unit); err == nil {
		factor, _ = r.Float64()
	}
	return func(v expr.Values) float64 { return p.Eval(v) * factor }
}

// reach is the range of results over all roundings of the inputs. Formulas
// here are monotonic in each input over so small a step, so the ends lie at
// corners.
func (e *evaluation) reach(p *expr.Program, stated *binding) (low, high float64) {
	eval := e.inUnitOf(p, stated)
	var rounded []string
	for _, in := range p.Inputs {
		if b, ok := e.bindings[in.Name]; ok && len(b.items) > 0 && !slices.Contains(rounded, in.Name) {
			rounded = append(rounded, in.Name)
		}
	}
	low, high = math.Inf(1), math.Inf(-1)
	take := func(x float64) {
		low, high = min(low, x), max(high, x) // NaN stays NaN
	}
	if len(rounded) > maxCorners {
		x, spread := eval(e.value), 0.0
		for _, name := range rounded {
			up, down := eval(e.shifted(map[string]float64{name: 1})), eval(e.shifted(map[string]float64{name: -1}))
			spread += max(math.Abs(up-x), math.Abs(down-x))
		}
		return x - spread, x + spread
	}
	for corner := range 1 << len(rounded) {
		signs := map[string]float64{}
		for i, name := range rounded {
			signs[name] = float64(corner>>i&1)*2 - 1
		}
		take(eval(e.shifted(signs)))
	}
	return low, high
}

// shifted gives the values with some aliases moved to an end of the interval
// their digits leave open.
func (e *evaluation) shifted(signs map[string]float64) expr.Values {
	return func(in expr.Input) float64 {
		x := e.value(in)
		sign, ok := signs[in.Name]
		if !ok || !measured(in.Function) {
			return x
		}
		return x + sign*max(e.bindings[in.Name].step(), math.Abs(x)*singlePrecision)
	}
}

// measured reports whether a question about an alias gives a value of it.
func measured(function string) bool {
	return slices.Contains([]string{"", "highest", "lowest", "average", "last", "recorded_mean"}, function)
}

// step is the largest rounding of the values that may stand behind the alias.
func (b *binding) step() float64 {
	if b.chosen.m != nil {
		return b.chosen.halfStep
	}
	out := 0.0
	for _, i := range b.items {
		out = max(out, i.halfStep)
	}
	return out
}

func (e *evaluation) allowance(stated *binding) float64 {
	p := e.rule.Recompute.Allowance
	if p == nil {
		return 0
	}
	x, _ := e.parameter(p)
	if r, err := p.Unit.FactorTo(stated.alias.Unit); err == nil {
		f, _ := r.Float64()
		x *= f
	}
	return x
}

// preferGroupOf takes, for each input, the one value that stands in the same
// container as the stated value: a gradient belongs to the velocity it was
// measured with, not to a higher one from another window. Where several stand
// there, or it has no container, the one of the same phase of breathing is
// taken.
func (e *evaluation) preferGroupOf(stated item) {
	if e.supposed || stated.m == nil {
		return
	}
	for name, b := range e.bindings {
		if name == e.rule.Recompute.Stated {
			continue
		}
		same := filter(b.items, func(i item) bool {
			return i.m.Group != "" && i.m.Group == stated.m.Group && i.m.Source.SOPInstanceUID == stated.m.Source.SOPInstanceUID
		})
		note := "stands with the stated value"
		if phase := stated.m.Modifiers.RespiratoryCyclePoint; len(same) != 1 && phase != nil {
			same = filter(b.items, func(i item) bool {
				p := i.m.Modifiers.RespiratoryCyclePoint
				return p != nil && p.Concept.Key() == phase.Concept.Key()
			})
			note = "of the same phase of breathing as the stated value"
		}
		if len(same) == 1 && same[0].m != b.chosen.m {
			b.chosen, b.note = same[0], note
		}
	}
}

func compactMissing(in []finding.Missing) []finding.Missing {
	var out []finding.Missing
	for _, m := range in {
		if !slices.Contains(out, m) {
			out = append(out, m)
		}
	}
	return out
}
