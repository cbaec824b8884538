// Package reconcile owns the joint adjustment of redundant measurements: when
// several measured quantities are tied by relations that must hold, it finds
// the values closest to the measured ones (weighted least squares) that satisfy
// every relation, tests whether the measurements fit together at all, and names
// the one whose removal explains the misfit best.
//
// Terms: a [Variable] is a quantity, measured or not; a [Constraint] is a
// relation whose residual must be zero, exactly or within a model uncertainty;
// a [Solution] holds reconciled values with their covariance, the global
// chi-square and the measurement test of Mah and Tamhane (AIChE J
// 1982;28:828-830). Serial elimination turns the worst measurement into an
// unmeasured variable and solves again.
//
// The package knows no echocardiography; which quantities are tied by what is
// told by its caller.
package reconcile

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"echotally/internal/reconcile/matrix"
)

// Variable is one quantity.
type Variable struct {
	Name     string
	Value    float64 // measured value, or a starting guess when not measured
	Measured bool
	SD       float64 // standard deviation: relative when Log, else in units of Value; > 0 when Measured
	Log      bool    // adjust on the log scale; Value must be > 0
}

// Constraint is a relation that must hold.
type Constraint struct {
	Name     string
	Uses     []int                     // indices of the variables it concerns
	Residual func(x []float64) float64 // zero when it holds; x are all variables on their own scale
	ModelSD  float64                   // standard deviation of the relation itself, in units of Residual; 0 when exact
}

// Solution is the reconciled state.
type Solution struct {
	Variables  []Estimate
	ChiSquare  float64
	Freedom    int     // degrees of freedom: number of independent relations among the measurements
	PValue     float64 // probability of a larger chi-square; 1 when Freedom is 0
	Iterations int

	parts []*problem // by group
}

// Estimate is one variable after reconciliation.
type Estimate struct {
	Name       string
	Measured   bool
	Value      float64 // as measured; the starting guess when not measured
	Reconciled float64
	Low, High  float64 // 95 % interval of Reconciled
	Adjustment float64 // reconciled minus measured, on the adjustment scale
	Z          float64 // |adjustment| over its standard deviation; 0 when not testable
	Testable   bool    // the measurement is redundant, so an error in it can show
	Estimable  bool    // the value is determined by the measurements
}

// ErrNotConverged is returned when the linearised solution does not settle.
var ErrNotConverged = errors.New("the relations could not be solved from these values")

const (
	maxIterations = 60
	maxHalvings   = 12
	settled       = 1e-10
)

// Solve reconciles the variables under the constraints. Variables that no chain
// of constraints ties are solved apart from each other.
func Solve(variables []Variable, constraints []Constraint) (*Solution, error) {
	for _, v := range variables {
		if v.Log && !(v.Value > 0) {
			return nil, fmt.Errorf("variable %s: a value on the log scale must be positive", v.Name)
		}
		if v.Measured && !(v.SD > 0) {
			return nil, fmt.Errorf("variable %s: a measured value needs a positive standard deviation", v.Name)
		}
	}
	var parts []*problem
	for _, g := range tied(variables, constraints) {
		p := newProblem(variables, constraints, g)
		if err := p.solve(); err != nil {
			return nil, err
		}
		parts = append(parts, p)
	}
	return whole(parts, len(variables)), nil
}

// whole puts the groups together.
func whole(parts []*problem, variables int) *Solution {
	s := &Solution{PValue: 1, Variables: make([]Estimate, variables), parts: parts}
	for _, p := range parts {
		p.report(s)
	}
	if s.Freedom > 0 {
		s.PValue = distuv.ChiSquared{K: float64(s.Freedom)}.Survival(s.ChiSquare)
	}
	return s
}

// without solves again with one more variable not measured, for which only its
// own group is solved; i is the index of the variable.
func (s *Solution) without(variables []Variable, i int) (*Solution, error) {
	parts := slices.Clone(s.parts)
	for n, p := range parts {
		if !slices.Contains(p.group.variables, i) {
			continue
		}
		parts[n] = newProblem(variables, p.constraints, p.group)
		if err := parts[n].solve(); err != nil {
			return nil, err
		}
	}
	return whole(parts, len(variables)), nil
}

// group is variables tied to each other by constraints, and to no others.
type group struct{ variables, constraints []int }

// tied parts the variables into groups, in the order of their first variable.
func tied(variables []Variable, constraints []Constraint) []group {
	leader := make([]int, len(variables))
	for i := range leader {
		leader[i] = i
	}
	find := func(i int) int {
		for leader[i] != i {
			leader[i] = leader[leader[i]]
			i = leader[i]
		}
		return i
	}
	for _, c := range constraints {
		for _, i := range c.Uses {
			a, b := find(c.Uses[0]), find(i)
			leader[max(a, b)] = min(a, b)
		}
	}
	place := make([]int, len(variables))
	var out []group
	for i := range variables {
		l := find(i)
		if l == i {
			place[i] = len(out)
			out = append(out, group{})
		}
		g := &out[place[l]]
		g.variables = append(g.variables, i)
	}
	for k, c := range constraints {
		if len(c.Uses) > 0 {
			g := &out[place[find(c.Uses[0])]]
			g.constraints = append(g.constraints, k)
		}
	}
	return out
}

// problem is the working state of one group: every variable on its adjustment
// scale, one extra measured variable per inexact constraint for its model error.
type problem struct {
	variables   []Variable
	constraints []Constraint
	group       group
	of          []int     // place in y, z, sd of each variable of the study
	slack       []int     // per constraint: place of its model-error variable, -1 when exact
	y, z, sd    []float64 // measured (or guess), current, standard deviation; adjustment scale
	measured    []int     // places of measured variables
	unmeasured  []int
	x           []float64 // all variables of the study on their own scale
	iterations  int

	jm, ju, b, r []float64       // measured and unmeasured columns of the Jacobian, right side, residuals
	free         matrix.Factors  // of the unmeasured columns
	gram         matrix.Cholesky // of the relations free of unmeasured variables
	next         []float64
	chiSquare    float64
}

func newProblem(variables []Variable, constraints []Constraint, g group) *problem {
	p := &problem{variables: variables, constraints: constraints, group: g, of: make([]int, len(variables)), x: make([]float64, len(variables))}
	for n, i := range g.variables {
		v := variables[i]
		value := v.Value
		if v.Log {
			value = math.Log(v.Value)
		}
		p.of[i] = n
		p.add(value, v.SD, v.Measured)
	}
	for _, k := range g.constraints {
		at := -1
		if sd := constraints[k].ModelSD; sd > 0 {
			at = len(p.y)
			p.add(0, sd, true)
		}
		p.slack = append(p.slack, at)
	}
	rows := len(g.constraints)
	p.jm, p.ju = make([]float64, rows*len(p.measured)), make([]float64, rows*len(p.unmeasured))
	p.b, p.r, p.next = make([]float64, rows), make([]float64, rows), make([]float64, len(p.z))
	return p
}

func (p *problem) add(value, sd float64, measured bool) {
	if measured {
		p.measured = append(p.measured, len(p.y))
	} else {
		p.unmeasured = append(p.unmeasured, len(p.y))
	}
	p.y, p.z, p.sd = append(p.y, value), append(p.z, value), append(p.sd, sd)
}

func (p *problem) solve() error {
	if len(p.group.constraints) == 0 {
		return nil
	}
	for p.iterations = 1; p.iterations <= maxIterations; p.iterations++ {
		change, err := p.step()
		if err != nil {
			return err
		}
		if change < settled {
			return nil
		}
	}
	return ErrNotConverged
}

// scale takes the value of a variable of the study from the adjustment scale to
// its own.
func (p *problem) scale(i int, z float64) float64 {
	if p.variables[i].Log {
		return math.Exp(z)
	}
	return z
}

// place puts the values, given on the adjustment scale, where the constraints
// look for them.
func (p *problem) place(z []float64) {
	for n, i := range p.group.variables {
		p.x[i] = p.scale(i, z[n])
	}
}

// linearise fills the Jacobian at z by central differences, the residuals, and
// the right side of J z = b.
func (p *problem) linearise() bool {
	p.place(p.z)
	column := make([]float64, len(p.z))
	for k, at := range p.group.constraints {
		c := &p.constraints[at]
		clear(column)
		p.r[k] = c.Residual(p.x)
		for _, i := range c.Uses {
			n := p.of[i]
			h := 1e-6 * math.Max(1, math.Abs(p.z[n]))
			keep := p.x[i]
			p.x[i] = p.scale(i, p.z[n]+h)
			up := c.Residual(p.x)
			p.x[i] = p.scale(i, p.z[n]-h)
			down := c.Residual(p.x)
			p.x[i] = keep
			column[n] = (up - down) / (2 * h)
		}
		if s := p.slack[k]; s >= 0 {
			p.r[k] += p.z[s]
			column[s] = 1
		}
		p.b[k] = -p.r[k]
		for n, v := range column {
			p.b[k] += v * p.z[n]
		}
		for c, n := range p.measured {
			p.jm[k*len(p.measured)+c] = column[n]
		}
		for c, n := range p.unmeasured {
			p.ju[k*len(p.unmeasured)+c] = column[n]
		}
	}
	return matrix.Finite(p.b)
}

// step solves the linearised problem at z, moves z there and returns the
// largest move: the measured variables move the least, in units of their
// standard deviations, so that the relations free of unmeasured ones hold, and
// the unmeasured ones get the values the relations imply, where they imply one.
func (p *problem) step() (float64, error) {
	if !p.linearise() {
		return 0, ErrNotConverged
	}
	m := len(p.measured)
	copy(p.next, p.z)
	p.free = matrix.Factorise(p.ju, len(p.b), len(p.unmeasured))
	p.free.Turn(p.jm, m)
	p.free.Turn(p.b, 1)
	rank := p.free.Rank
	p.adjustMeasured(p.jm[rank*m:], p.b[rank:])
	right := make([]float64, rank)
	for k := range right {
		right[k] = p.b[k]
		for c, n := range p.measured {
			right[k] -= p.jm[k*m+c] * p.next[n]
		}
	}
	for c, v := range p.free.Solve(right) {
		if n := p.unmeasured[c]; p.free.Determined[c] {
			p.next[n] = v
		}
	}
	p.damp(p.next)
	change := 0.0
	for i := range p.next {
		change = math.Max(change, math.Abs(p.next[i]-p.z[i]))
	}
	p.z, p.next = p.next, p.z
	return change, nil
}

// adjustMeasured moves the measured variables, given the relations free of
// unmeasured ones. Two relations that say the same count once.
func (p *problem) adjustMeasured(a, b []float64) {
	m := len(p.measured)
	rows := len(b)
	misfit := make([]float64, rows)
	for k := range misfit {
		misfit[k] = -b[k]
		for c, n := range p.measured {
			misfit[k] += a[k*m+c] * p.y[n]
			a[k*m+c] *= p.sd[n] // from here on in units of standard deviations
		}
	}
	p.gram = matrix.CholeskyOf(a, rows, m)
	weighted := p.gram.Solve(misfit)
	p.chiSquare = 0
	for k := range misfit {
		p.chiSquare += misfit[k] * weighted[k]
	}
	for c, n := range p.measured {
		step := 0.0
		for k := range weighted {
			step += a[k*m+c] * weighted[k]
		}
		p.next[n] = p.y[n] - p.sd[n]*step
	}
}

// damp shortens a move that leads where a relation has no value: a ventricle
// smaller in diastole than in systole.
func (p *problem) damp(next []float64) {
	for range maxHalvings {
		if p.defined(next) {
			return
		}
		for i := range next {
			next[i] = (next[i] + p.z[i]) / 2
		}
	}
}

func (p *problem) defined(z []float64) bool {
	p.place(z)
	for _, k := range p.group.constraints {
		if r := p.constraints[k].Residual(p.x); math.IsNaN(r) || math.IsInf(r, 0) {
			return false
		}
	}
	return true
}

// report adds the group to the solution.
func (p *problem) report(s *Solution) {
	s.ChiSquare += p.chiSquare
	s.Freedom += p.gram.Rank
	s.Iterations = max(s.Iterations, p.iterations)
	m := len(p.measured)
	adjusted := p.jm[p.free.Rank*m:] // the relations free of unmeasured variables, scaled
	column := make([]float64, len(p.group.constraints)-p.free.Rank)
	for c, n := range p.measured {
		if n >= len(p.group.variables) {
			continue // a model error, not a quantity
		}
		for k := range column {
			column[k] = adjusted[k*m+c]
		}
		// The variance of the adjustment, in units of that of the measurement.
		share := p.gram.Weight(column)
		i, variance := p.group.variables[n], p.sd[n]*p.sd[n]
		e := p.estimate(i, n, variance*(1-share))
		e.Measured, e.Estimable = true, true
		e.Adjustment = p.z[n] - p.y[n]
		if sd := math.Sqrt(math.Max(share*variance, 0)); sd > 1e-6*p.sd[n] {
			e.Testable, e.Z = true, math.Abs(e.Adjustment)/sd
		}
		s.Variables[i] = e
	}
	for c, n := range p.unmeasured {
		i, variance := p.group.variables[n], math.Inf(1)
		known := p.free.Rank > 0 && p.free.Determined[c]
		if known {
			variance = p.impliedVariance(c, adjusted)
		}
		e := p.estimate(i, n, variance)
		e.Estimable = known
		s.Variables[i] = e
	}
}

// impliedVariance is that of an unmeasured variable which the adjusted measured
// ones imply.
func (p *problem) impliedVariance(c int, adjusted []float64) float64 {
	m := len(p.measured)
	row := p.free.Row(c)
	carried := make([]float64, m) // how the variable moves with each measured one, scaled
	total := 0.0
	for c, n := range p.measured {
		for k, v := range row {
			carried[c] += v * p.jm[k*m+c]
		}
		carried[c] *= p.sd[n]
		total += carried[c] * carried[c]
	}
	common := make([]float64, len(p.group.constraints)-p.free.Rank)
	for k := range common {
		for c := range carried {
			common[k] += adjusted[k*m+c] * carried[c]
		}
	}
	return total - p.gram.Weight(common)
}

func (p *problem) estimate(i, n int, variance float64) Estimate {
	v := p.variables[i]
	half := 1.959963984540054 * math.Sqrt(math.Max(variance, 0))
	e := Estimate{Name: v.Name, Value: v.Value, Reconciled: p.z[n], Low: p.z[n] - half, High: p.z[n] + half}
	if v.Log {
		e.Reconciled, e.Low, e.High = math.Exp(e.Reconciled), math.Exp(e.Low), math.Exp(e.High)
	}
	return e
}
