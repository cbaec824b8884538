// Package coherence owns the question how the redundant measurements of one
// study fit together: which relations may be presumed of it, which numbers tie,
// and which of them does not belong. The arithmetic is that of package
// reconcile, which knows no echocardiography.
package coherence

import (
	"math"
	"slices"
	"strings"

	"echotally/internal/answer"
	"echotally/internal/check"
	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/measurand"
	"echotally/internal/reconcile"
	"echotally/internal/reconcile/problem"
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

// Knowledge is what is asked of others about measurands.
type Knowledge struct {
	// Plausible is the range a heart or body has, in the unit of the measurand.
	Plausible func(measurand string) (low, high float64, ok bool)
	// Implying is the protocol that holds and says what one of the statements
	// would say, nil when there is none.
	Implying func(unless []*rule.Said) *rule.Protocol
	// Slips that, undone, bring a value into an interval.
	Slips func(m *measurand.Measurand, x, low, high float64) []finding.Hypothesis
}

// study is a study to be reconciled.
type study struct {
	*answer.Reading
	Knowledge
	follow map[*echo.Measurement]bool // results that say no more than what they come of
}

// Reconcile ties the study's measurements by the relations of the library and
// looks for the one that does not fit the others: first among the numbers as
// written, which only rounding may part, then among the measurements, which
// their spread parts. The recomputations are among what was checked. It is nil
// when nothing in the study is measured twice over.
func Reconcile(reading *answer.Reading, checked []*check.Checked, by Knowledge) *finding.Reconciliation {
	r := study{Reading: reading, Knowledge: by}
	sums := r.sums(checked, false)
	r.follow = sums.follow
	written := sums.report(checked)
	if written != nil && len(written.Suspects) > 1 {
		// A number that is far off may lie closest to a form that nobody used.
		if other := r.sums(checked, true).report(checked); other != nil && other.Settled && len(other.Suspects) < len(written.Suspects) {
			written = other
		}
	}
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
		for _, s := range suspects {
			if s.Measurand == o.Measurand {
				both = append(both, s)
			}
		}
	}
	if len(both) == 0 {
		return suspects
	}
	return both
}

// reconcile adjusts the measurements; those distrusted count as not measured
// and start from what the others imply.
func (r study) reconcile(distrusted map[string]float64) *finding.Reconciliation {
	j := &joint{study: r, index: map[string]int{}, distrusted: distrusted}
	j.build()
	if len(j.constraints) == 0 {
		return nil
	}
	var names []string
	for _, m := range j.measurands {
		names = append(names, m.Identifier)
	}
	f, err := j.eliminate(j.variables, j.constraints, names)
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
	study
	index       map[string]int // of a measurand among the variables
	variables   []problem.Variable
	items       []answer.Item
	measurands  []*measurand.Measurand
	constraints []problem.Constraint
	uses        []finding.RelationUse
	distrusted  map[string]float64
}

// build takes the relations that hold for this study. Those that derive a value
// come first: a value computed from the others says nothing of its own and is
// taken as unmeasured.
func (j *joint) build() {
	var waiting []tie
	for _, derives := range []bool{true, false} {
		for _, r := range j.Library.Relations {
			if (r.Derives != "") != derives {
				continue
			}
			if why := j.aside(r); why != "" {
				j.uses = append(j.uses, finding.RelationUse{Identifier: r.Identifier, Title: r.Title, Aside: why})
				continue
			}
			waiting = append(waiting, tie{r, j.To(r.Reading)})
		}
	}
	for taken := true; taken; {
		taken = false
		waiting = slices.DeleteFunc(waiting, func(t tie) bool {
			ok := j.take(t.relation, t.answers)
			taken = taken || ok
			return ok
		})
	}
}

// tie is a relation with what the study says to its names.
type tie struct {
	relation *rule.Relation
	answers  *answer.Answers
}

// aside says why a relation is not to be presumed of this study.
func (j *joint) aside(r *rule.Relation) string {
	if s := j.FirstMentioned(r.Unless); s != nil {
		return "the record states: " + s.Quote
	}
	if p := j.Implying(r.Unless); p != nil {
		return "the study is one of: " + p.Title
	}
	if answer.Within(r.Age, j.Study.Subject.AgeYears) == expr.False {
		return "not for this age"
	}
	if r.When != nil {
		e := j.To(r.Reading)
		if r.When.Holds(e.Value) != expr.True {
			return "only when " + e.Arithmetic(r.When)
		}
	}
	return ""
}

// take adds a relation whose quantities are all known, or all but the one it
// derives; otherwise it waits.
func (j *joint) take(r *rule.Relation, e *answer.Answers) bool {
	for _, name := range e.Names() {
		b := e.Binding(name)
		if _, known := j.indexOf(b); !known && !usable(b) && name != r.Derives {
			return false
		}
	}
	at := places{}
	for _, name := range e.Names() {
		if name != r.Derives {
			at = append(at, j.variable(e.Binding(name)).named(name))
		}
	}
	if r.Derives != "" {
		b := e.Binding(r.Derives)
		i, known := j.indexOf(b)
		implied := reckon(e, r.Left, r.Right.Unit, at)(j.values())
		switch {
		case math.IsNaN(implied) || implied <= 0:
			return false
		case !known && !usable(b):
			i = j.unmeasured(b.Alias, implied)
		case !known:
			j.variable(b)
			i, _ = j.indexOf(b)
		}
		if usable(b) && (j.follow[b.Chosen.Measurement] || sameAs(e, r, b, implied)) {
			j.variables[i].Measured = false
		}
		at = append(at, j.placeOf(i, b.Alias).named(r.Derives))
	}
	j.constraints = append(j.constraints, constraint(r, e, at))
	j.uses = append(j.uses, finding.RelationUse{Identifier: r.Identifier, Title: r.Title})
	return true
}

func usable(b *answer.Binding) bool { return len(b.Items) > 0 && b.Chosen.X > 0 }

// sameAs reports whether the stated value is what its inputs give.
func sameAs(e *answer.Answers, r *rule.Relation, b *answer.Binding, implied float64) bool {
	low, high := e.Reach(r.Left, b.Alias.Unit)
	if math.IsNaN(low) || math.IsNaN(high) {
		low, high = implied, implied
	}
	slack := b.Chosen.HalfStep + sameAsDerived*b.Chosen.X
	return b.Chosen.X+slack >= low && b.Chosen.X-slack <= high
}

// place is a variable as an alias sees it: the factor takes the measurand's
// unit to that of the alias.
type place struct {
	name   string // the alias
	index  int
	factor float64
}

func (p place) named(alias string) place {
	p.name = alias
	return p
}

// places are those of one relation.
type places []place

func (p places) of(alias string) (place, bool) {
	for _, one := range p {
		if one.name == alias {
			return one, true
		}
	}
	return place{}, false
}

func (j *joint) indexOf(b *answer.Binding) (int, bool) {
	if b.Chosen.Measurement != nil {
		i, ok := j.index[b.Chosen.Measurement.Measurand]
		return i, ok
	}
	i, ok := j.index[b.Alias.Measurands[0].Identifier]
	return i, ok
}

func (j *joint) placeOf(i int, a *rule.Alias) place {
	return place{index: i, factor: answer.Factor(j.measurands[i].Unit, a.Unit)}
}

// variable finds or adds the variable of what counts for an alias.
func (j *joint) variable(b *answer.Binding) place {
	if i, ok := j.indexOf(b); ok {
		return j.placeOf(i, b.Alias)
	}
	m := b.Alias.Measurands[0]
	if b.Chosen.Measurement != nil {
		m = j.Library.Measurands.Find(b.Chosen.Measurement.Measurand)
	}
	p := place{index: len(j.variables), factor: answer.Factor(m.Unit, b.Alias.Unit)}
	if x, ok := j.distrusted[m.Identifier]; ok {
		j.add(m, b.Chosen, problem.Variable{Name: m.Identifier, Value: x, Log: true})
		return p
	}
	rounding := b.Chosen.HalfStep / math.Sqrt(3) / b.Chosen.X
	j.add(m, b.Chosen, problem.Variable{Name: m.Identifier, Value: b.Chosen.X / p.factor, Measured: true, Log: true,
		SD: math.Hypot(spread(m, b.Chosen.X/p.factor), rounding)})
	return p
}

func (j *joint) unmeasured(a *rule.Alias, implied float64) int {
	m := a.Measurands[0]
	j.add(m, answer.Item{}, problem.Variable{Name: m.Identifier, Value: implied, Log: true})
	return len(j.variables) - 1
}

func (j *joint) add(m *measurand.Measurand, it answer.Item, v problem.Variable) {
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

func (j *joint) values() []float64 { return valuesOf(j.variables) }

// reckon evaluates an expression, in a unit, from the variables.
func reckon(e *answer.Answers, p *expr.Program, unit ucum.Unit, at places) func(x []float64) float64 {
	factor := answer.Factor(p.Unit, unit)
	inputs, from := make([]float64, len(p.Inputs)), make([]place, len(p.Inputs))
	for i := range p.Inputs {
		in := &p.Inputs[i]
		var variable bool
		if from[i], variable = at.of(in.Name); !variable || in.Question != nil {
			inputs[i], from[i].index = e.Value(in), -1
		}
	}
	return func(x []float64) float64 {
		for i, pl := range from {
			if pl.index >= 0 {
				inputs[i] = x[pl.index] * pl.factor
			}
		}
		return factor * p.EvalOf(inputs)
	}
}

func constraint(r *rule.Relation, e *answer.Answers, at places) problem.Constraint {
	left, right := reckon(e, r.Left, r.Right.Unit, at), reckon(e, r.Right, r.Right.Unit, at)
	c := problem.Constraint{Name: r.Identifier}
	sorted := slices.SortedFunc(slices.Values(at), func(a, b place) int { return strings.Compare(a.name, b.name) })
	for _, p := range sorted {
		c.Uses = append(c.Uses, p.index)
	}
	c.Residual = func(x []float64) float64 { return left(x) - right(x) }
	if r.Log {
		c.Residual = func(x []float64) float64 { return math.Log(left(x) / right(x)) }
	}
	if p := r.Uncertainty; p != nil {
		if r.Log {
			x, _ := e.Parameter(p)
			c.ModelSD = x / 100
		} else {
			c.ModelSD = e.Limit(p, r.Right.Unit)
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
			out.Residuals = append(out.Residuals, finding.Residual{Measurand: e.Name, Measurement: j.items[i].Measurement, Value: e.Value,
				Reconciled: e.Reconciled, Unit: j.measurands[i].Unit.Code(), Z: e.Z, Testable: e.Testable})
		}
	}
	for _, round := range f.Rounds {
		var suspects []finding.Suspect
		for _, s := range round {
			i := j.index[s.Name]
			suspects = append(suspects, finding.Suspect{Measurand: s.Name, Title: j.measurands[i].Title, Measurement: j.items[i].Measurement, Value: s.Value,
				Estimate: s.Estimate, Low: finding.Bound(s.Low), High: finding.Bound(s.High), Unit: j.measurands[i].Unit.Code(), Z: s.Z, Estimable: s.Estimable,
				Causes: j.Slips(j.measurands[i], s.Value, s.Low, s.High)})
		}
		out.Suspects = append(out.Suspects, j.believable(suspects))
	}
	return out
}

// believable leaves out the suspects whose implied value no heart or body has,
// as long as one remains.
func (r study) believable(suspects []finding.Suspect) []finding.Suspect {
	var out []finding.Suspect
	for _, s := range suspects {
		low, high, known := r.Plausible(s.Measurand)
		if !known || s.Estimate >= low && s.Estimate <= high {
			out = append(out, s)
		}
	}
	if len(out) == 0 {
		return suspects
	}
	return out
}

// edited is the slip of results that were not made again.
const edited = "kept-after-edit"

// Blame names, in every failed consistency result that rests on it, the
// measurement that the reconciliation singles out; two that cannot be told
// apart are named by neither, nor is an input that was likely edited: it may be
// the one that is right.
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
			later := slices.ContainsFunc(res.Causes, func(h finding.Hypothesis) bool { return h.Identifier == edited && h.Measurand == round[0].Measurand })
			if !later && res.Kind == finding.Consistency && res.Outcome == finding.Fail && slices.Contains(res.Measurands, round[0].Measurand) {
				res.Suspect = round[0].Measurand
			}
		}
	}
}
