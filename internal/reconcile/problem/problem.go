// Package problem owns quantities tied to each other by relations, and to no others, as
// one problem of least squares: it moves the measured ones the least, so that the relations
// hold, and gives what they imply of the others.
package problem

import (
	"errors"
	"math"

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

// Group is variables tied to each other by constraints, and to no others.
type Group struct{ Variables, Constraints []int }

// Problem is the working state of one group: every variable on its adjustment
// scale, one extra measured variable per inexact constraint for its model error.
type Problem struct {
	variables   []Variable
	Constraints []Constraint
	Group       Group
	of          []int     // place in y, z, sd of each variable of the study
	slack       []int     // per constraint: place of its model-error variable, -1 when exact
	y, z, sd    []float64 // measured (or guess), current, standard deviation; adjustment scale
	measured    []int     // places of measured variables
	unmeasured  []int
	x           []float64 // all variables of the study on their own scale
	Iterations  int

	jm, ju, b, r []float64       // measured and unmeasured columns of the Jacobian, right side, residuals
	free         matrix.Factors  // of the unmeasured columns
	gram         matrix.Cholesky // of the relations free of unmeasured variables
	next         []float64
	ChiSquare    float64
}

// New is the problem of one group of the variables, not solved yet.
func New(variables []Variable, constraints []Constraint, g Group) *Problem {
	p := &Problem{variables: variables, Constraints: constraints, Group: g, of: make([]int, len(variables)), x: make([]float64, len(variables))}
	for n, i := range g.Variables {
		v := variables[i]
		value := v.Value
		if v.Log {
			value = math.Log(v.Value)
		}
		p.of[i] = n
		p.add(value, v.SD, v.Measured)
	}
	for _, k := range g.Constraints {
		at := -1
		if sd := constraints[k].ModelSD; sd > 0 {
			at = len(p.y)
			p.add(0, sd, true)
		}
		p.slack = append(p.slack, at)
	}
	rows := len(g.Constraints)
	p.jm, p.ju = make([]float64, rows*len(p.measured)), make([]float64, rows*len(p.unmeasured))
	p.b, p.r, p.next = make([]float64, rows), make([]float64, rows), make([]float64, len(p.z))
	return p
}

func (p *Problem) add(value, sd float64, measured bool) {
	if measured {
		p.measured = append(p.measured, len(p.y))
	} else {
		p.unmeasured = append(p.unmeasured, len(p.y))
	}
	p.y, p.z, p.sd = append(p.y, value), append(p.z, value), append(p.sd, sd)
}

// Solve brings the variables to where the relations hold, or gives [ErrNotConverged].
func (p *Problem) Solve() error {
	if len(p.Group.Constraints) == 0 {
		return nil
	}
	for p.Iterations = 1; p.Iterations <= maxIterations; p.Iterations++ {
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
func (p *Problem) scale(i int, z float64) float64 {
	if p.variables[i].Log {
		return math.Exp(z)
	}
	return z
}

// place puts the values, given on the adjustment scale, where the constraints
// look for them.
func (p *Problem) place(z []float64) {
	for n, i := range p.Group.Variables {
		p.x[i] = p.scale(i, z[n])
	}
}

// linearise fills the Jacobian at z by central differences, the residuals, and
// the right side of J z = b.
func (p *Problem) linearise() bool {
	p.place(p.z)
	column := make([]float64, len(p.z))
	for k, at := range p.Group.Constraints {
		c := &p.Constraints[at]
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
func (p *Problem) step() (float64, error) {
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
func (p *Problem) adjustMeasured(a, b []float64) {
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
	p.ChiSquare = 0
	for k := range misfit {
		p.ChiSquare += misfit[k] * weighted[k]
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
func (p *Problem) damp(next []float64) {
	for range maxHalvings {
		if p.defined(next) {
			return
		}
		for i := range next {
			next[i] = (next[i] + p.z[i]) / 2
		}
	}
}

func (p *Problem) defined(z []float64) bool {
	p.place(z)
	for _, k := range p.Group.Constraints {
		if r := p.Constraints[k].Residual(p.x); math.IsNaN(r) || math.IsInf(r, 0) {
			return false
		}
	}
	return true
}

// Freedom is the number of independent relations among the measurements.
func (p *Problem) Freedom() int { return p.gram.Rank }

// Report gives the variables of the group, each in its place among all.
func (p *Problem) Report(out []Estimate) {
	m := len(p.measured)
	adjusted := p.jm[p.free.Rank*m:] // the relations free of unmeasured variables, scaled
	column := make([]float64, len(p.Group.Constraints)-p.free.Rank)
	for c, n := range p.measured {
		if n >= len(p.Group.Variables) {
			continue // a model error, not a quantity
		}
		for k := range column {
			column[k] = adjusted[k*m+c]
		}
		// The variance of the adjustment, in units of that of the measurement.
		share := p.gram.Weight(column)
		i, variance := p.Group.Variables[n], p.sd[n]*p.sd[n]
		e := p.estimate(i, n, variance*(1-share))
		e.Measured, e.Estimable = true, true
		e.Adjustment = p.z[n] - p.y[n]
		if sd := math.Sqrt(math.Max(share*variance, 0)); sd > 1e-6*p.sd[n] {
			e.Testable, e.Z = true, math.Abs(e.Adjustment)/sd
		}
		out[i] = e
	}
	for c, n := range p.unmeasured {
		i, variance := p.Group.Variables[n], math.Inf(1)
		known := p.free.Rank > 0 && p.free.Determined[c]
		if known {
			variance = p.impliedVariance(c, adjusted)
		}
		e := p.estimate(i, n, variance)
		e.Estimable = known
		out[i] = e
	}
}

// impliedVariance is that of an unmeasured variable which the adjusted measured
// ones imply.
func (p *Problem) impliedVariance(c int, adjusted []float64) float64 {
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
	common := make([]float64, len(p.Group.Constraints)-p.free.Rank)
	for k := range common {
		for c := range carried {
			common[k] += adjusted[k*m+c] * carried[c]
		}
	}
	return total - p.gram.Weight(common)
}

func (p *Problem) estimate(i, n int, variance float64) Estimate {
	v := p.variables[i]
	half := 1.959963984540054 * math.Sqrt(math.Max(variance, 0))
	e := Estimate{Name: v.Name, Value: v.Value, Reconciled: p.z[n], Low: p.z[n] - half, High: p.z[n] + half}
	if v.Log {
		e.Reconciled, e.Low, e.High = math.Exp(e.Reconciled), math.Exp(e.Low), math.Exp(e.High)
	}
	return e
}
