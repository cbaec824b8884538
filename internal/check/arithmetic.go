package check

import (
	"fmt"
	"math"
	"slices"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/reconcile"
	"echotally/internal/rule"
)

// leastRounding is the relative standard deviation granted to every number: one
// much smaller than that of the computation it enters could not be told from
// its neighbours.
const leastRounding = leastModelSD / 2

// leastModelSD is the relative standard deviation granted to every computation
// in a report beyond the rounding of its numbers: systems round on the way
// (site choice).
const leastModelSD = 0.001

// arithmetic ties the numbers of a report by what its systems compute, one
// variable per recorded value. Only rounding parts them, so a number that was
// typed, copied or kept from before stands out even where it lies well within
// the spread of a measurement.
type arithmetic struct {
	*reading
	index       map[*echo.Measurement]int
	of          []*echo.Measurement
	variables   []reconcile.Variable
	constraints []reconcile.Constraint
	uses        []finding.RelationUse
}

// sums takes the recomputations that fail and those that look at one of their
// numbers; none when all hold.
func (r *reading) sums() *arithmetic {
	a := &arithmetic{reading: r, index: map[*echo.Measurement]int{}}
	quiet := *r
	quiet.brief, quiet.tested = true, nil
	for _, one := range r.set.Rules {
		if one.File.Recompute != nil && one.Kind == finding.Consistency {
			quiet.judge(one)
		}
	}
	doubted := map[*echo.Measurement]bool{}
	for _, t := range quiet.tested {
		for _, name := range t.e.measuredNames() {
			if t.failed {
				doubted[t.e.bindings[name].chosen.m] = true
			}
		}
	}
	for _, t := range quiet.tested {
		if slices.ContainsFunc(t.e.measuredNames(), func(name string) bool { return doubted[t.e.bindings[name].chosen.m] }) {
			a.take(t)
		}
	}
	return a
}

// take adds a recomputation all of whose numbers are recorded and positive, by
// the form that comes closest.
func (a *arithmetic) take(t *tested) {
	d := t.e.rule.Recompute
	stated := t.e.bindings[d.Stated]
	best, miss := -1, math.Inf(1)
	for i, form := range d.Forms {
		y := t.e.inUnitOf(form.Value, stated)(t.e.value)
		if off := math.Abs(y - stated.chosen.x); a.recorded(t.e, form) && off < miss {
			best, miss = i, off
		}
	}
	if best < 0 || stated.chosen.m == nil || !(stated.chosen.x > 0) {
		return
	}
	form := d.Forms[best]
	at := map[string]place{d.Stated: a.variable(stated)}
	uses := []int{at[d.Stated].index}
	for _, in := range form.Value.Inputs {
		if b, ok := t.e.bindings[in.Name]; ok {
			at[in.Name] = a.variable(b)
			uses = append(uses, at[in.Name].index)
		}
	}
	side := t.e.reckon(form.Value, stated.alias.Unit, at)
	own := at[d.Stated]
	c := reconcile.Constraint{Name: t.e.rule.File.Identifier, Uses: uses,
		ModelSD: math.Max(leastModelSD, t.e.allowance(stated)/(2*stated.chosen.x))}
	if side(a.values()) > 0 {
		c.Residual = func(x []float64) float64 { return math.Log(side(x) / (x[own.index] * own.factor)) }
	} else {
		scale := stated.chosen.x
		c.Residual = func(x []float64) float64 { return (side(x) - x[own.index]*own.factor) / scale }
	}
	a.constraints = append(a.constraints, c)
	a.uses = append(a.uses, finding.RelationUse{Identifier: c.Name, Title: t.e.rule.File.Title})
}

// recorded reports whether every number of the form is one recorded value.
func (a *arithmetic) recorded(e *evaluation, form rule.CompiledForm) bool {
	for _, in := range form.Value.Inputs {
		if b, ok := e.bindings[in.Name]; ok && (in.Function != "" || b.chosen.m == nil || !(b.chosen.x > 0)) {
			return false
		}
	}
	return true
}

// variable finds or adds the variable of the value that counts for an alias.
func (a *arithmetic) variable(b *binding) place {
	m := b.chosen.m
	what := a.set.Measurands.Find(m.Measurand)
	p := place{factor: 1}
	if f, err := what.Unit.FactorTo(b.alias.Unit); err == nil {
		p.factor, _ = f.Float64()
	}
	i, known := a.index[m]
	if !known {
		i = len(a.variables)
		a.index[m] = i
		a.of = append(a.of, m)
		a.variables = append(a.variables, reconcile.Variable{Name: fmt.Sprintf("%s %d", m.Measurand, i), Value: b.chosen.x / p.factor, Measured: true, Log: true,
			SD: math.Max(b.chosen.halfStep/math.Sqrt(3)/b.chosen.x, leastRounding)})
	}
	p.index = i
	return p
}

func (a *arithmetic) values() []float64 {
	out := make([]float64, len(a.variables))
	for i, v := range a.variables {
		out[i] = v.Value
	}
	return out
}

// report gives what serial elimination found, nil when the numbers belong
// together.
func (a *arithmetic) report() *finding.Reconciliation {
	if len(a.constraints) == 0 {
		return nil
	}
	f, err := reconcile.Eliminate(a.variables, a.constraints, familyLevel, mostSuspects)
	if err != nil || len(f.Rounds) == 0 {
		return nil
	}
	out := &finding.Reconciliation{Relations: a.uses, ChiSquare: f.First.ChiSquare, Freedom: f.First.Freedom, PValue: f.First.PValue,
		Level: f.Level, Critical: finding.Bound(f.Critical), Settled: f.Settled}
	for i, e := range f.First.Variables {
		out.Residuals = append(out.Residuals, finding.Residual{Measurand: a.of[i].Measurand, Measurement: a.of[i], Value: e.Value,
			Reconciled: e.Reconciled, Unit: a.unit(i), Z: e.Z, Testable: e.Testable})
	}
	for _, round := range f.Rounds {
		var suspects []finding.Suspect
		for _, s := range round {
			i := a.find(s.Name)
			suspects = append(suspects, finding.Suspect{Measurand: a.of[i].Measurand, Title: a.set.Measurands.Find(a.of[i].Measurand).Title, Measurement: a.of[i],
				Value: s.Value, Estimate: s.Estimate, Low: finding.Bound(s.Low), High: finding.Bound(s.High), Unit: a.unit(i), Z: s.Z, Estimable: s.Estimable})
		}
		out.Suspects = append(out.Suspects, a.believable(suspects))
	}
	return out
}

func (a *arithmetic) unit(i int) string { return a.set.Measurands.Find(a.of[i].Measurand).Unit.Code() }

func (a *arithmetic) find(name string) int {
	for i, v := range a.variables {
		if v.Name == name {
			return i
		}
	}
	return -1
}
