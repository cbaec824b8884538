package check

import (
	"fmt"
	"math"
	"slices"

	"echotally/internal/answer"
	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/rule"
)

// recompute asks whether the stated value can be reached from the inputs by
// one of the forms when every number may lie anywhere in the interval that its
// written digits leave open.
func (d *decision) recompute() {
	a, demand := d.answers, d.answers.Rule.Recompute
	stated := a.Binding(demand.Stated)
	d.outcome = finding.Open
	if len(stated.Items) == 0 {
		return
	}
	failed := -1
	said := formsSaid(demand, stated.Chosen.Measurement)
	for i, form := range demand.Forms {
		if len(said) > 0 && !said[i] {
			continue
		}
		switch fits(a, form, stated) {
		case expr.True:
			d.outcome, d.form = finding.Pass, i
			return
		case expr.False:
			if failed < 0 {
				failed = i
			}
		default:
			d.undecided = append(d.undecided, i)
		}
	}
	if failed < 0 {
		return
	}
	d.outcome, d.form = finding.Fail, failed
	if !d.asGiven {
		d.tryOthers(stated, said)
	}
}

// formsSaid are the forms by which the stated value says it was computed; nil when
// it says none, and then any form will do. A declared method decides the form.
func formsSaid(demand *rule.Recompute, stated *echo.Measurement) map[int]bool {
	if stated == nil {
		return nil
	}
	var out map[int]bool
	for i, form := range demand.Forms {
		for _, key := range form.Declared {
			method := stated.Modifiers.MeasurementMethod
			says := method != nil && method.Concept.Key() == key ||
				slices.ContainsFunc(stated.Other, func(c echo.Coded) bool { return c.Value.Key() == key })
			if says {
				if out == nil {
					out = map[int]bool{}
				}
				out[i] = true
			}
		}
	}
	return out
}

// mostTried bounds the combinations of recorded values that are tried for one
// recomputation. The more are tried, the likelier one fits by chance.
const mostTried = 256

// tryOthers asks whether other values that the record holds give what is stated:
// scanners compute from the best beat, from one beat, from the mean of the beats
// or of the windows, and say which to nobody. What a value of the record explains
// is not called wrong.
func (d *decision) tryOthers(stated *answer.Binding, said map[int]bool) {
	demand := d.answers.Rule.Recompute
	for _, allSeries := range []bool{false, true} {
		for i, form := range demand.Forms {
			if len(said) > 0 && !said[i] {
				continue
			}
			for _, other := range d.answers.Otherwise(form.Value, demand.Stated, allSeries, mostTried) {
				if fits(other, form, stated) != expr.True {
					continue
				}
				if d.elsewhere = allSeries; !d.elsewhere {
					d.answers, d.outcome, d.form = other, finding.Pass, i
				}
				return
			}
		}
	}
}

func (d *decision) tellRecompute(res *finding.Result) {
	a, demand := d.answers, d.answers.Rule.Recompute
	stated := a.Binding(demand.Stated)
	switch {
	case d.outcome == finding.Pass:
		res.Variant = demand.Forms[d.form].Title
	case d.outcome == finding.Fail:
		form := demand.Forms[d.form].Value
		x := a.InUnit(form, stated.Alias.Unit)(a.Value)
		res.Message = fmt.Sprintf("%s stated, but %s = %s", stated.Chosen.Text(stated.Alias.Unit), a.Arithmetic(form), answer.WithUnit(x, stated.Alias.Unit))
	default:
		if len(stated.Items) == 0 {
			res.Missing = a.WhyMissing(expr.Input{Name: demand.Stated})
		}
		for _, i := range d.undecided {
			res.Missing = append(res.Missing, a.Missing(demand.Forms[i].Value)...)
		}
		res.Missing = answer.CompactMissing(res.Missing)
		res.Message = answer.CannotTell(res.Missing)
	}
}

// fits asks whether a form can give the stated value.
func fits(a *answer.Answers, form rule.CompiledForm, stated *answer.Binding) expr.Truth {
	low, high := a.Reach(form.Value, stated.Alias.Unit)
	if math.IsNaN(low) || math.IsNaN(high) || math.IsNaN(a.InUnit(form.Value, stated.Alias.Unit)(a.Value)) {
		return expr.Unknown
	}
	s := stated.Chosen
	slack := max(s.HalfStep, math.Abs(s.X)*answer.SinglePrecision) + Allowance(a, stated)
	noise := 1e-9 * max(math.Abs(low), math.Abs(high), math.Abs(s.X))
	if s.X+slack >= low-noise && s.X-slack <= high+noise {
		return expr.True
	}
	return expr.False
}

// Allowance is how far, beyond rounding, a recomputation lets the stated value
// lie from what its inputs give, in the unit of the stated value.
func Allowance(a *answer.Answers, stated *answer.Binding) float64 {
	p := a.Rule.Recompute.Allowance
	if p == nil {
		return 0
	}
	return a.Limit(p, stated.Alias.Unit)
}
