package coherence

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"echotally/internal/answer"
	"echotally/internal/check"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/reconcile/problem"
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
	study
	index       map[*echo.Measurement]int
	of          []*echo.Measurement
	variables   []problem.Variable
	constraints []problem.Constraint
	uses        []finding.RelationUse
}

// sums takes the recomputations that fail and those that look at one of their
// numbers; none when all hold. Failed results are held against the closest form of
// their computation or against the primary one.
func (r study) sums(checked []*check.Checked, primary bool) *arithmetic {
	a := &arithmetic{study: r, index: map[*echo.Measurement]int{}}
	a.follow = map[*echo.Measurement]bool{}
	var sums []*check.Checked
	doubted := map[*echo.Measurement]bool{}
	for _, c := range checked {
		if !recomputes(c) {
			continue
		}
		sums = append(sums, c)
		if c.Decided == finding.Pass {
			a.follow[statedOf(c).Chosen.Measurement] = true // it was computed, with what a rule allows
		}
		if c.Decided == finding.Fail {
			for _, name := range c.Answers.Measured() {
				doubted[c.Answers.Binding(name).Chosen.Measurement] = true
			}
		}
	}
	wrong := failing(sums)
	for _, c := range sums {
		if followsSuit(c, wrong) {
			a.follow[statedOf(c).Chosen.Measurement] = true
			continue
		}
		if len(doubted) > 0 && slices.ContainsFunc(c.Answers.Measured(), func(name string) bool { return doubted[c.Answers.Binding(name).Chosen.Measurement] }) {
			a.take(c.Answers, primary && c.Decided == finding.Fail)
		}
	}
	return a
}

// failing are the recomputations from recorded values that fail, by their stated
// measurement.
func failing(sums []*check.Checked) map[*echo.Measurement]*check.Checked {
	out := map[*echo.Measurement]*check.Checked{}
	for _, c := range sums {
		tied := slices.ContainsFunc(c.Answers.Rule.Recompute.Forms, func(f rule.CompiledForm) bool { return recorded(c.Answers, f) })
		if c.Decided == finding.Fail && tied {
			out[statedOf(c).Chosen.Measurement] = c
		}
	}
	return out
}

func statedOf(c *check.Checked) *answer.Binding {
	return c.Answers.Binding(c.Answers.Rule.Recompute.Stated)
}

// inputsOf are the measurements a recomputation starts from, by alias.
func inputsOf(c *check.Checked) map[string]*echo.Measurement {
	out := map[string]*echo.Measurement{}
	for _, name := range c.Answers.Measured() {
		if name != c.Answers.Rule.Recompute.Stated {
			out[name] = c.Answers.Binding(name).Chosen.Measurement
		}
	}
	return out
}

// followsSuit reports whether what a recomputation says was said before: a number
// that was computed from a wrong one bears no witness for it. That is so where it
// fits what does not fit its own inputs, and where it misses them as another
// failing result does.
func followsSuit(c *check.Checked, wrong map[*echo.Measurement]*check.Checked) bool {
	if c.Decided == finding.Pass {
		for _, m := range inputsOf(c) {
			if wrong[m] != nil {
				return true
			}
		}
		return false
	}
	for _, before := range wrong {
		if before != c && sameStory(before, c) {
			return true
		}
	}
	return false
}

// sameStory reports whether a failing result misses its inputs as if it had been
// made from another failing result of fewer of the same inputs: put that input
// where the one result wants it, and the other holds to its rounding.
func sameStory(before, c *check.Checked) bool {
	fewer, inputs := inputsOf(before), inputsOf(c)
	if len(fewer) >= len(inputs) {
		return false
	}
	shared := ""
	for name, m := range fewer {
		if !slices.Contains(slices.Collect(maps.Values(inputs)), m) {
			return false
		}
		shared = name
	}
	for name, m := range inputs {
		if shared == "" || m != fewer[shared] {
			continue
		}
		by := wantedFactor(before, shared)
		if math.IsNaN(by) {
			return false
		}
		it := c.Answers.Binding(name).Chosen
		it.X *= by
		off, play := missed(c.Answers.Supposing(answer.Supposed{Alias: name, Item: it}))
		_, more := missed(before.Answers)
		return math.Abs(off) <= play+more
	}
	return false
}

// reach is how far, as a factor, an input is looked for that would give a result.
const reach = 32

// wantedFactor is what an input would have to be multiplied by for the closest
// form to give the stated value; NaN when nothing within reach does.
func wantedFactor(c *check.Checked, name string) float64 {
	it := c.Answers.Binding(name).Chosen
	off := func(log float64) float64 {
		moved := it
		moved.X *= math.Exp(log)
		by, _ := missed(c.Answers.Supposing(answer.Supposed{Alias: name, Item: moved}))
		return by
	}
	low, high := -math.Log(reach), math.Log(reach)
	rising := off(low) < 0
	if (off(high) < 0) == rising || math.IsNaN(off(low)) || math.IsNaN(off(high)) {
		return math.NaN()
	}
	for range 50 {
		middle := (low + high) / 2
		if (off(middle) < 0) == rising {
			low = middle
		} else {
			high = middle
		}
	}
	return math.Exp((low + high) / 2)
}

// missed is by how much a stated value misses what the closest form gives, on the
// log scale, and the play that rounding leaves.
func missed(e *answer.Answers) (off, play float64) {
	stated := e.Binding(e.Rule.Recompute.Stated)
	off = math.Inf(1)
	for _, form := range e.Rule.Recompute.Forms {
		x := e.InUnit(form.Value, stated.Alias.Unit)(e.Value)
		low, high := e.Reach(form.Value, stated.Alias.Unit)
		if by := math.Log(stated.Chosen.X / x); math.Abs(by) < math.Abs(off) {
			off, play = by, math.Abs((high-low)/x)/2+stated.Chosen.HalfStep/math.Abs(stated.Chosen.X)+leastModelSD
		}
	}
	return off, play
}

// recomputes reports whether a rule put to the study recomputes a value of it,
// and came to a verdict.
func recomputes(c *check.Checked) bool {
	if c.Answers == nil || c.Decided != finding.Pass && c.Decided != finding.Fail {
		return false
	}
	one := c.Answers.Rule
	return one.Recompute != nil && one.Kind == finding.Consistency && !one.AboutPrior
}

// take adds a recomputation all of whose numbers are recorded and positive, by
// the form that comes closest, or by the first.
func (a *arithmetic) take(e *answer.Answers, primary bool) {
	d := e.Rule.Recompute
	stated := e.Binding(d.Stated)
	best, miss := -1, math.Inf(1)
	for i, form := range d.Forms {
		y := e.InUnit(form.Value, stated.Alias.Unit)(e.Value)
		if off := math.Abs(y - stated.Chosen.X); recorded(e, form) && off < miss && !(primary && best >= 0) {
			best, miss = i, off
		}
	}
	if best < 0 || stated.Chosen.Measurement == nil || !(stated.Chosen.X > 0) {
		return
	}
	form := d.Forms[best]
	own := a.variable(stated).named(d.Stated)
	at, uses := places{own}, []int{own.index}
	for _, in := range form.Value.Inputs {
		if b := e.Binding(in.Name); b != nil {
			p := a.variable(b).named(in.Name)
			at, uses = append(at, p), append(uses, p.index)
		}
	}
	side := reckon(e, form.Value, stated.Alias.Unit, at)
	c := problem.Constraint{Name: e.Rule.File.Identifier, Uses: uses,
		ModelSD: math.Max(leastModelSD, check.Allowance(e, stated)/(2*stated.Chosen.X))}
	if side(a.values()) > 0 {
		c.Residual = func(x []float64) float64 { return math.Log(side(x) / (x[own.index] * own.factor)) }
	} else {
		scale := stated.Chosen.X
		c.Residual = func(x []float64) float64 { return (side(x) - x[own.index]*own.factor) / scale }
	}
	a.constraints = append(a.constraints, c)
	a.uses = append(a.uses, finding.RelationUse{Identifier: c.Name, Title: e.Rule.File.Title})
}

// recorded reports whether every number of the form is one recorded value.
func recorded(e *answer.Answers, form rule.CompiledForm) bool {
	for _, in := range form.Value.Inputs {
		if b := e.Binding(in.Name); b != nil && (in.Question != nil || b.Chosen.Measurement == nil || !(b.Chosen.X > 0)) {
			return false
		}
	}
	return true
}

// variable finds or adds the variable of the value that counts for an alias.
func (a *arithmetic) variable(b *answer.Binding) place {
	m := b.Chosen.Measurement
	p := place{factor: answer.Factor(a.Library.Measurands.Find(m.Measurand).Unit, b.Alias.Unit)}
	i, known := a.index[m]
	for k, o := range a.of {
		if !known && o.Measurand == m.Measurand && a.variables[k].Value == b.Chosen.X/p.factor {
			i, known = k, true // the same number, written a second time
		}
	}
	if !known {
		i = len(a.variables)
		a.index[m] = i
		a.of = append(a.of, m)
		a.variables = append(a.variables, problem.Variable{Name: fmt.Sprintf("%s %d", m.Measurand, i), Value: b.Chosen.X / p.factor, Measured: true, Log: true,
			SD: math.Max(b.Chosen.HalfStep/math.Sqrt(3)/b.Chosen.X, leastRounding)})
	}
	p.index = i
	return p
}

func (a *arithmetic) values() []float64 { return valuesOf(a.variables) }

func valuesOf(variables []problem.Variable) []float64 {
	out := make([]float64, len(variables))
	for i, v := range variables {
		out[i] = v.Value
	}
	return out
}

// report gives what serial elimination found, nil when the numbers belong
// together.
func (a *arithmetic) report(checked []*check.Checked) *finding.Reconciliation {
	if len(a.constraints) == 0 {
		return nil
	}
	var names []string
	for _, m := range a.of {
		names = append(names, m.Measurand)
	}
	f, err := a.eliminate(a.variables, a.constraints, names)
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
			suspects = append(suspects, finding.Suspect{Measurand: a.of[i].Measurand, Title: a.Library.Measurands.Find(a.of[i].Measurand).Title, Measurement: a.of[i],
				Value: s.Value, Estimate: s.Estimate, Low: finding.Bound(s.Low), High: finding.Bound(s.High), Unit: a.unit(i), Z: s.Z, Estimable: s.Estimable})
		}
		out.Suspects = append(out.Suspects, a.believable(suspects))
	}
	a.exchanges(out, checked)
	return out
}

// exchanges puts values that were likely written in each other's place before the
// suspects: taking out one value at a time cannot find two. They stand
// in the place of one that does not explain all.
func (a *arithmetic) exchanges(out *finding.Reconciliation, checked []*check.Checked) {
	if len(out.Suspects) < 2 {
		return
	}
	var subjects []string
	failed, explained := 0, 0
	for _, c := range checked {
		if !recomputes(c) || c.Decided != finding.Fail {
			continue
		}
		failed++
		named := false
		for _, h := range c.Result.Causes {
			if h.Identifier == exchanged {
				subjects, named = append(subjects, h.Measurand), true
			}
		}
		if named {
			explained++
		}
	}
	if 2*explained < failed {
		return
	}
	var first []finding.Suspect
	for i, m := range a.of {
		if slices.Contains(subjects, m.Measurand) {
			first = append(first, a.suspect(i))
		}
	}
	if len(first) > 0 {
		out.Suspects[0] = first
	}
}

// suspect is a recorded value as one that may be wrong.
func (a *arithmetic) suspect(i int) finding.Suspect {
	m := a.of[i]
	return finding.Suspect{Measurand: m.Measurand, Title: a.Library.Measurands.Find(m.Measurand).Title, Measurement: m, Value: a.variables[i].Value, Unit: a.unit(i)}
}

// exchanged is the slip of two values written in each other's place.
const exchanged = "exchanged"

func (a *arithmetic) unit(i int) string {
	return a.Library.Measurands.Find(a.of[i].Measurand).Unit.Code()
}

func (a *arithmetic) find(name string) int {
	for i, v := range a.variables {
		if v.Name == name {
			return i
		}
	}
	return -1
}
