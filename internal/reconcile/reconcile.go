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

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
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
	rankTolerance = 1e-9
)

// Solve reconciles the variables under the constraints.
func Solve(variables []Variable, constraints []Constraint) (*Solution, error) {
	p, err := newProblem(variables, constraints)
	if err != nil {
		return nil, err
	}
	for p.iterations = 1; p.iterations <= maxIterations; p.iterations++ {
		change, err := p.step()
		if err != nil {
			return nil, err
		}
		if change < settled {
			return p.solution(), nil
		}
	}
	return nil, ErrNotConverged
}

// problem is the working state: every variable on its adjustment scale, one
// extra measured variable per inexact constraint for its model error.
type problem struct {
	variables   []Variable
	constraints []Constraint
	slack       []int     // per constraint: index of its model-error variable, -1 when exact
	y, z, sd    []float64 // measured (or guess), current, standard deviation; adjustment scale
	measured    []int     // indices of measured variables in y, z, sd
	unmeasured  []int
	iterations  int

	adjust     *mat.Dense // covariance of the adjustments, measured × measured
	chiSquare  float64
	freedom    int
	jacobian   *mat.Dense
	determined []bool     // per unmeasured variable
	covariance *mat.Dense // of unmeasured estimates
}

func newProblem(variables []Variable, constraints []Constraint) (*problem, error) {
	p := &problem{variables: variables, constraints: constraints}
	for i, v := range variables {
		value := v.Value
		if v.Log {
			if !(v.Value > 0) {
				return nil, fmt.Errorf("variable %s: a value on the log scale must be positive", v.Name)
			}
			value = math.Log(v.Value)
		}
		if v.Measured && !(v.SD > 0) {
			return nil, fmt.Errorf("variable %s: a measured value needs a positive standard deviation", v.Name)
		}
		p.add(i, value, v.SD, v.Measured)
	}
	for _, c := range constraints {
		if c.ModelSD <= 0 {
			p.slack = append(p.slack, -1)
			continue
		}
		p.slack = append(p.slack, len(p.y))
		p.add(len(p.y), 0, c.ModelSD, true)
	}
	return p, nil
}

func (p *problem) add(index int, value, sd float64, measured bool) {
	p.y, p.z, p.sd = append(p.y, value), append(p.z, value), append(p.sd, sd)
	if measured {
		p.measured = append(p.measured, index)
	} else {
		p.unmeasured = append(p.unmeasured, index)
	}
}

// natural takes values from the adjustment scale to their own.
func (p *problem) natural(z []float64) []float64 {
	x := make([]float64, len(p.variables))
	for i := range x {
		x[i] = p.scale(i, z[i])
	}
	return x
}

// scale takes a value from the adjustment scale to its own.
func (p *problem) scale(i int, z float64) float64 {
	if p.variables[i].Log {
		return math.Exp(z)
	}
	return z
}

// linearise fills the Jacobian at z by central differences and returns the
// residuals.
func (p *problem) linearise() (*mat.Dense, []float64) {
	j := mat.NewDense(len(p.constraints), len(p.z), nil)
	r := make([]float64, len(p.constraints))
	x := p.natural(p.z)
	for k, c := range p.constraints {
		r[k] = c.Residual(x)
		for _, i := range c.Uses {
			h := 1e-6 * math.Max(1, math.Abs(p.z[i]))
			keep := x[i]
			x[i] = p.scale(i, p.z[i]+h)
			up := c.Residual(x)
			x[i] = p.scale(i, p.z[i]-h)
			down := c.Residual(x)
			x[i] = keep
			j.Set(k, i, (up-down)/(2*h))
		}
		if s := p.slack[k]; s >= 0 {
			r[k] += p.z[s]
			j.Set(k, s, 1)
		}
	}
	return j, r
}

// step solves the linearised problem at z, moves z there and returns the
// largest move.
func (p *problem) step() (float64, error) {
	j, r := p.linearise()
	p.jacobian = j
	// b is the right side of J z = b.
	b := mat.NewVecDense(len(r), nil)
	b.MulVec(j, mat.NewVecDense(len(p.z), p.z))
	b.SubVec(b, mat.NewVecDense(len(r), r))
	if !finite(b.RawVector().Data) {
		return 0, ErrNotConverged
	}
	jm, ju := columns(j, p.measured), columns(j, p.unmeasured)
	project := leftNullSpace(ju, len(r))
	next := append([]float64(nil), p.z...)
	p.adjustMeasured(project, jm, b, next)
	p.estimateUnmeasured(jm, ju, b, next)
	p.damp(next)
	change := 0.0
	for i := range next {
		change = math.Max(change, math.Abs(next[i]-p.z[i]))
	}
	p.z = next
	return change, nil
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
	x := p.natural(z)
	for _, c := range p.constraints {
		if r := c.Residual(x); math.IsNaN(r) || math.IsInf(r, 0) {
			return false
		}
	}
	return true
}

// adjustMeasured moves the measured variables the least, in units of their
// standard deviations, so that the relations free of unmeasured ones hold.
func (p *problem) adjustMeasured(project, jm *mat.Dense, b *mat.VecDense, next []float64) {
	m := len(p.measured)
	p.chiSquare, p.freedom = 0, 0
	p.adjust = mat.NewDense(max(m, 1), max(m, 1), nil)
	for _, i := range p.measured {
		next[i] = p.y[i]
	}
	if m == 0 || project == nil {
		return
	}
	var a mat.Dense
	a.Mul(project, jm)
	rows, _ := a.Dims()
	scaled := mat.NewDense(rows, m, nil) // A Σ^½
	scaled.Apply(func(_, c int, v float64) float64 { return v * p.sd[p.measured[c]] }, &a)
	var s mat.Dense
	s.Mul(scaled, scaled.T())
	inverse, rank := pseudoInverse(&s)
	ym := mat.NewVecDense(m, nil)
	for c, i := range p.measured {
		ym.SetVec(c, p.y[i])
	}
	var misfit, reduced mat.VecDense
	reduced.MulVec(project, b)
	misfit.MulVec(&a, ym)
	misfit.SubVec(&misfit, &reduced)
	var weighted, step mat.VecDense
	weighted.MulVec(inverse, &misfit)
	step.MulVec(scaled.T(), &weighted)
	for c, i := range p.measured {
		next[i] = p.y[i] - p.sd[i]*step.AtVec(c)
	}
	p.chiSquare, p.freedom = mat.Dot(&misfit, &weighted), rank
	var half, whole mat.Dense
	half.Mul(scaled.T(), inverse)
	whole.Mul(&half, scaled)
	p.adjust.Apply(func(r, c int, v float64) float64 { return v * p.sd[p.measured[r]] * p.sd[p.measured[c]] }, &whole)
}

// estimateUnmeasured gives the unmeasured variables the values the relations
// imply, where they imply one.
func (p *problem) estimateUnmeasured(jm, ju *mat.Dense, b *mat.VecDense, next []float64) {
	n := len(p.unmeasured)
	p.determined = make([]bool, n)
	p.covariance = nil
	if n == 0 {
		return
	}
	zm := mat.NewVecDense(max(len(p.measured), 1), nil)
	for c, i := range p.measured {
		zm.SetVec(c, next[i])
	}
	right := mat.NewVecDense(b.Len(), nil)
	right.CopyVec(b)
	if jm != nil {
		var implied mat.VecDense
		implied.MulVec(jm, zm)
		right.SubVec(right, &implied)
	}
	inverse, null := generalInverse(ju)
	var u mat.VecDense
	u.MulVec(inverse, right)
	for c, i := range p.unmeasured {
		// A variable is determined when the null space of its columns leaves it alone.
		p.determined[c] = null[c] < rankTolerance*1e3
		if p.determined[c] {
			next[i] = u.AtVec(c)
		}
	}
	if jm != nil {
		var carry, half mat.Dense
		carry.Mul(inverse, jm)
		half.Mul(&carry, p.measuredCovariance())
		p.covariance = mat.NewDense(n, n, nil)
		p.covariance.Mul(&half, carry.T())
	}
}

// measuredCovariance is the covariance of the reconciled measured variables.
func (p *problem) measuredCovariance() *mat.Dense {
	m := len(p.measured)
	c := mat.NewDense(m, m, nil)
	for r := range m {
		for k := range m {
			v := -p.adjust.At(r, k)
			if r == k {
				v += p.sd[p.measured[r]] * p.sd[p.measured[r]]
			}
			c.Set(r, k, v)
		}
	}
	return c
}

func (p *problem) solution() *Solution {
	s := &Solution{ChiSquare: p.chiSquare, Freedom: p.freedom, PValue: 1, Iterations: p.iterations}
	if p.freedom > 0 {
		s.PValue = distuv.ChiSquared{K: float64(p.freedom)}.Survival(p.chiSquare)
	}
	s.Variables = make([]Estimate, len(p.variables))
	for c, i := range p.measured {
		if i >= len(p.variables) {
			continue // a model error, not a quantity
		}
		e := p.estimate(i, p.sd[i]*p.sd[i]-p.adjust.At(c, c))
		e.Measured, e.Estimable = true, true
		e.Adjustment = p.z[i] - p.y[i]
		if sd := math.Sqrt(math.Max(p.adjust.At(c, c), 0)); sd > 1e-6*p.sd[i] {
			e.Testable, e.Z = true, math.Abs(e.Adjustment)/sd
		}
		s.Variables[i] = e
	}
	for c, i := range p.unmeasured {
		variance := math.Inf(1)
		if p.covariance != nil && p.determined[c] {
			variance = p.covariance.At(c, c)
		}
		e := p.estimate(i, variance)
		e.Estimable = p.determined[c]
		s.Variables[i] = e
	}
	return s
}

func (p *problem) estimate(i int, variance float64) Estimate {
	v := p.variables[i]
	half := 1.959963984540054 * math.Sqrt(math.Max(variance, 0))
	e := Estimate{Name: v.Name, Value: v.Value, Reconciled: p.z[i], Low: p.z[i] - half, High: p.z[i] + half}
	if v.Log {
		e.Reconciled, e.Low, e.High = math.Exp(e.Reconciled), math.Exp(e.Low), math.Exp(e.High)
	}
	return e
}
