package check

import (
	"fmt"
	"math"
	"slices"

	"echotally/internal/library"

	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/measurand"
	"echotally/internal/reconcile"
	"echotally/internal/rule"
	"echotally/internal/ucum"
)

const (
	// familyLevel is the family-wise level of the measurement test (common
	// practice in statistics).
	familyLevel = 0.05
	// mostSuspects bounds serial elimination: with more than two measurements
	// at fault a study is beyond naming the one.
	mostSuspects = 2
	// unknownSpread is the relative standard deviation of a measurand without a
	// published one: site choice.
	unknownSpread = 0.10
	// sameAsDerived is how far, beyond rounding, a stated value may lie from
	// what its inputs give and still be taken as computed from them: the mean
	// of products is not the product of means (site choice).
	sameAsDerived = 0.02
)

// Reconcile ties the study's measurements by the relations of the set and looks
// for the one that does not fit the others: first among the numbers as written,
// which only rounding may part, then among the measurements, which their spread
// parts. It is nil when nothing in the study is measured twice over.
func Reconcile(set *library.Library, s *echo.Study) *finding.Reconciliation {
	r := read(set, s)
	written := r.sums().report()
	if written == nil {
		return r.reconcile(nil)
	}
	if first := written.Suspects[0]; len(first) > 1 {
		written.Suspects[0] = narrowed(first, r.reconcile(nil))
	}
	distrusted := map[string]float64{}
	for _, round := range written.Suspects {
		if len(round) == 1 && round[0].Estimable {
			distrusted[round[0].Measurand] = round[0].Estimate
		}
	}
	measured := r.reconcile(distrusted)
	if measured != nil && measured.Problem == "" {
		written.Relations = append(written.Relations, measured.Relations...)
		written.Settled = written.Settled && measured.Settled
		for _, round := range measured.Suspects {
			if len(written.Suspects) < mostSuspects {
				written.Suspects = append(written.Suspects, round)
			}
		}
	}
	return written
}

// narrowed leaves, of suspects that the written numbers cannot tell apart, those
// that the measurements name as well, as long as they name any.
func narrowed(suspects []finding.Suspect, measured *finding.Reconciliation) []finding.Suspect {
	if measured == nil || len(measured.Suspects) == 0 {
		return suspects
	}
	var both []finding.Suspect
	for _, o := range measured.Suspects[0] {
		both = append(both, filter(suspects, func(s finding.Suspect) bool { return s.Measurand == o.Measurand })...)
	}
	if len(both) == 0 {
		return suspects
	}
	return both
}

// reconcile adjusts the measurements; those distrusted count as not measured
// and start from what the others imply.
func (r *reading) reconcile(distrusted map[string]float64) *finding.Reconciliation {
	j := &joint{reading: r, index: map[string]int{}, distrusted: distrusted}
	j.build()
	if len(j.constraints) == 0 {
		return nil
	}
	f, err := reconcile.Eliminate(j.variables, j.constraints, familyLevel, mostSuspects)
	if err != nil {
		return &finding.Reconciliation{Relations: j.uses, Level: familyLevel, Problem: err.Error()}
	}
	if f.First.Freedom == 0 {
		return nil
	}
	return j.report(f)
}

// joint is a reconciliation being built: one variable per measurand.
type joint struct {
	*reading
	index       map[string]int // of a measurand among the variables
	variables   []reconcile.Variable
	items       []item
	measurands  []*measurand.Measurand
	constraints []reconcile.Constraint
	uses        []finding.RelationUse
	distrusted  map[string]float64
}

// build takes the relations that hold for this study. Those that derive a value
// come first: a value computed from the others says nothing of its own and is
// taken as unmeasured.
func (j *joint) build() {
	waiting := slices.Clone(j.set.Relations)
	slices.SortStableFunc(waiting, func(a, b *rule.Relation) int { return int(truth(a.Derives == "") - truth(b.Derives == "")) })
	waiting = slices.DeleteFunc(waiting, func(r *rule.Relation) bool {
		why := j.aside(r)
		if why != "" {
			j.uses = append(j.uses, finding.RelationUse{Identifier: r.Identifier, Title: r.Title, Aside: why})
		}
		return why != ""
	})
	for taken := true; taken; {
		taken = false
		waiting = slices.DeleteFunc(waiting, func(r *rule.Relation) bool {
			ok := j.take(r)
			taken = taken || ok
			return ok
		})
	}
}

// aside says why a relation is not to be presumed of this study.
func (j *joint) aside(r *rule.Relation) string {
	if s := j.firstMentioned(r.Unless); s != nil {
		return "the record states: " + s.Quote
	}
	if within(r.Age, j.study.Subject.AgeYears) == expr.False {
		return "not for this age"
	}
	if r.When != nil {
		e := j.bind(r.Reading)
		if r.When.Holds(e.value) != expr.True {
			return "only when " + e.arithmetic(r.When)
		}
	}
	return ""
}

// take adds a relation whose quantities are all known, or all but the one it
// derives; otherwise it waits.
func (j *joint) take(r *rule.Relation) bool {
	e := j.bind(r.Reading)
	for name, b := range e.bindings {
		if _, known := j.indexOf(b); !known && !usable(b) && name != r.Derives {
			return false
		}
	}
	at := map[string]place{}
	for _, name := range sortedNames(e.bindings) {
		if name != r.Derives {
			at[name] = j.variable(e.bindings[name])
		}
	}
	if r.Derives != "" {
		b := e.bindings[r.Derives]
		i, known := j.indexOf(b)
		implied := e.reckon(r.Left, r.Right.Unit, at)(j.values())
		switch {
		case math.IsNaN(implied) || implied <= 0:
			return false
		case !known && !usable(b):
			i = j.unmeasured(b.alias, implied)
		case !known:
			j.variable(b)
			i, _ = j.indexOf(b)
		}
		if usable(b) && j.sameAs(e, r, b, implied) {
			j.variables[i].Measured = false
		}
		at[r.Derives] = j.placeOf(i, b.alias)
	}
	j.constraints = append(j.constraints, j.constraint(r, e, at))
	j.uses = append(j.uses, finding.RelationUse{Identifier: r.Identifier, Title: r.Title})
	return true
}

func usable(b *binding) bool { return len(b.items) > 0 && b.chosen.x > 0 }

// sameAs reports whether the stated value is what its inputs give.
func (j *joint) sameAs(e *evaluation, r *rule.Relation, b *binding, implied float64) bool {
	low, high := e.reach(r.Left, b)
	if math.IsNaN(low) || math.IsNaN(high) {
		low, high = implied, implied
	}
	slack := b.chosen.halfStep + sameAsDerived*b.chosen.x
	return b.chosen.x+slack >= low && b.chosen.x-slack <= high
}

// place is a variable as an alias sees it: the factor takes the measurand's
// unit to that of the alias.
type place struct {
	index  int
	factor float64
}

func (j *joint) indexOf(b *binding) (int, bool) {
	if b.chosen.m != nil {
		i, ok := j.index[b.chosen.m.Measurand]
		return i, ok
	}
	i, ok := j.index[b.alias.Measurands[0].Identifier]
	return i, ok
}

func (j *joint) placeOf(i int, a *rule.Alias) place {
	factor := 1.0
	if f, err := j.measurands[i].Unit.FactorTo(a.Unit); err == nil {
		factor, _ = f.Float64()
	}
	return place{i, factor}
}

// variable finds or adds the variable of what counts for an alias.
func (j *joint) variable(b *binding) place {
	if i, ok := j.indexOf(b); ok {
		return j.placeOf(i, b.alias)
	}
	m := b.alias.Measurands[0]
	if b.chosen.m != nil {
		m = j.set.Measurands.Find(b.chosen.m.Measurand)
	}
	p := place{len(j.variables), 1}
	if f, err := m.Unit.FactorTo(b.alias.Unit); err == nil {
		p.factor, _ = f.Float64()
	}
	if x, ok := j.distrusted[m.Identifier]; ok {
		j.add(m, b.chosen, reconcile.Variable{Name: m.Identifier, Value: x, Log: true})
		return p
	}
	rounding := b.chosen.halfStep / math.Sqrt(3) / b.chosen.x
	j.add(m, b.chosen, reconcile.Variable{Name: m.Identifier, Value: b.chosen.x / p.factor, Measured: true, Log: true,
		SD: math.Hypot(spread(m, b.chosen.x/p.factor), rounding)})
	return p
}

func (j *joint) unmeasured(a *rule.Alias, implied float64) int {
	m := a.Measurands[0]
	j.add(m, item{}, reconcile.Variable{Name: m.Identifier, Value: implied, Log: true})
	return len(j.variables) - 1
}

func (j *joint) add(m *measurand.Measurand, it item, v reconcile.Variable) {
	j.index[m.Identifier] = len(j.variables)
	j.variables, j.items, j.measurands = append(j.variables, v), append(j.items, it), append(j.measurands, m)
}

// spread is the relative standard deviation of one reading.
func spread(m *measurand.Measurand, x float64) float64 {
	r := m.Repeatability
	switch {
	case r == nil:
		return unknownSpread
	case r.Kind == measurand.CoefficientOfVariation:
		return r.Value / 100
	}
	f, err := r.Unit.FactorTo(m.Unit)
	if err != nil {
		return unknownSpread
	}
	factor, _ := f.Float64()
	return r.Value * factor / x
}

func (j *joint) values() []float64 {
	out := make([]float64, len(j.variables))
	for i, v := range j.variables {
		out[i] = v.Value
	}
	return out
}

// reckon evaluates an expression, in a unit, from the variables.
func (e *evaluation) reckon(p *expr.Program, unit ucum.Unit, at map[string]place) func(x []float64) float64 {
	factor := 1.0
	if f, err := p.Unit.FactorTo(unit); err == nil {
		factor, _ = f.Float64()
	}
	return func(x []float64) float64 {
		return factor * p.Eval(func(in expr.Input) float64 {
			if pl, ok := at[in.Name]; ok && in.Function == "" {
				return x[pl.index] * pl.factor
			}
			return e.value(in)
		})
	}
}

func (j *joint) constraint(r *rule.Relation, e *evaluation, at map[string]place) reconcile.Constraint {
	left, right := e.reckon(r.Left, r.Right.Unit, at), e.reckon(r.Right, r.Right.Unit, at)
	c := reconcile.Constraint{Name: r.Identifier}
	for _, name := range sortedNames(at) {
		c.Uses = append(c.Uses, at[name].index)
	}
	c.Residual = func(x []float64) float64 { return left(x) - right(x) }
	if r.Log {
		c.Residual = func(x []float64) float64 { return math.Log(left(x) / right(x)) }
	}
	if p := r.Uncertainty; p != nil {
		x, _ := e.parameter(p)
		c.ModelSD = x / 100
		if !r.Log {
			f, err := p.Unit.FactorTo(r.Right.Unit)
			if err == nil {
				factor, _ := f.Float64()
				c.ModelSD = x * factor
			}
		}
	}
	return c
}

func (j *joint) report(f *reconcile.Finding) *finding.Reconciliation {
	first := f.First
	out := &finding.Reconciliation{Relations: j.uses, ChiSquare: first.ChiSquare, Freedom: first.Freedom, PValue: first.PValue,
		Level: f.Level, Critical: finding.Bound(f.Critical), Settled: f.Settled}
	for i, e := range first.Variables {
		if e.Measured {
			out.Residuals = append(out.Residuals, finding.Residual{Measurand: e.Name, Measurement: j.items[i].m, Value: e.Value,
				Reconciled: e.Reconciled, Unit: j.measurands[i].Unit.Code(), Z: e.Z, Testable: e.Testable})
		}
	}
	for _, round := range f.Rounds {
		var suspects []finding.Suspect
		for _, s := range round {
			i := j.index[s.Name]
			suspects = append(suspects, finding.Suspect{Measurand: s.Name, Title: j.measurands[i].Title, Measurement: j.items[i].m, Value: s.Value,
				Estimate: s.Estimate, Low: finding.Bound(s.Low), High: finding.Bound(s.High), Unit: j.measurands[i].Unit.Code(), Z: s.Z, Estimable: s.Estimable,
				Causes: slipsInto(j.measurands[i], s.Value, s.Low, s.High)})
		}
		out.Suspects = append(out.Suspects, j.believable(suspects))
	}
	return out
}

// slipsInto lists the slips of unit and geometry that, undone, bring a value
// into the interval that the other measurements imply.
func slipsInto(m *measurand.Measurand, x, low, high float64) []finding.Hypothesis {
	var out []finding.Hypothesis
	for _, f := range factorsOf(m.Unit.Dimension(), m.Identifier, m.Unit.Code()) {
		again := slices.ContainsFunc(out, func(h finding.Hypothesis) bool { return h.Identifier == f.kind.identifier })
		if y := x * f.by; y >= low && y <= high && !again {
			out = append(out, finding.Hypothesis{Identifier: f.kind.identifier, Measurand: m.Identifier,
				Text: fmt.Sprintf("%s: %s instead of %s would fit", f.why, withUnit(y, m.Unit), withUnit(x, m.Unit))})
		}
	}
	return out
}

// believable leaves out the suspects whose implied value no heart or body has,
// as long as one remains.
func (r *reading) believable(suspects []finding.Suspect) []finding.Suspect {
	out := filter(suspects, func(s finding.Suspect) bool {
		low, high, known := r.plausible(s.Measurand)
		return !known || s.Estimate >= low && s.Estimate <= high
	})
	if len(out) == 0 {
		return suspects
	}
	return out
}

// Blame names, in every failed consistency result that rests on it, the
// measurement that the reconciliation singles out; two that cannot be told
// apart are named by neither.
func Blame(results []finding.Result, r *finding.Reconciliation) {
	if r == nil {
		return
	}
	for _, round := range r.Suspects {
		if len(round) != 1 {
			continue
		}
		for i := range results {
			res := &results[i]
			if res.Kind == finding.Consistency && res.Outcome == finding.Fail && slices.Contains(res.Measurands, round[0].Measurand) {
				res.Suspect = round[0].Measurand
			}
		}
	}
}
