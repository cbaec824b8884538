// Package reconcile owns the joint adjustment of redundant measurements: when
// several measured quantities are tied by relations that must hold, it finds
// the values closest to the measured ones (weighted least squares) that satisfy
// every relation, tests whether the measurements fit together at all, and names
// the one whose removal explains the misfit best.
//
// Terms: a [problem.Variable] is a quantity, measured or not; a [problem.Constraint] is a
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
	"fmt"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"echotally/internal/reconcile/problem"
)

// Solution is the reconciled state.
type Solution struct {
	Variables  []problem.Estimate
	ChiSquare  float64
	Freedom    int     // degrees of freedom: number of independent relations among the measurements
	PValue     float64 // probability of a larger chi-square; 1 when Freedom is 0
	Iterations int

	parts []*problem.Problem // by group
}

// Solve reconciles the variables under the constraints. Variables that no chain
// of constraints ties are solved apart from each other.
func Solve(variables []problem.Variable, constraints []problem.Constraint) (*Solution, error) {
	for _, v := range variables {
		if v.Log && !(v.Value > 0) {
			return nil, fmt.Errorf("variable %s: a value on the log scale must be positive", v.Name)
		}
		if v.Measured && !(v.SD > 0) {
			return nil, fmt.Errorf("variable %s: a measured value needs a positive standard deviation", v.Name)
		}
	}
	var parts []*problem.Problem
	for _, g := range tied(variables, constraints) {
		p := problem.New(variables, constraints, g)
		if err := p.Solve(); err != nil {
			return nil, err
		}
		parts = append(parts, p)
	}
	return whole(parts, len(variables)), nil
}

// whole puts the groups together.
func whole(parts []*problem.Problem, variables int) *Solution {
	s := &Solution{PValue: 1, Variables: make([]problem.Estimate, variables), parts: parts}
	for _, p := range parts {
		s.ChiSquare += p.ChiSquare
		s.Freedom += p.Freedom()
		s.Iterations = max(s.Iterations, p.Iterations)
		p.Report(s.Variables)
	}
	if s.Freedom > 0 {
		s.PValue = distuv.ChiSquared{K: float64(s.Freedom)}.Survival(s.ChiSquare)
	}
	return s
}

// without solves again with one more variable not measured, for which only its
// own group is solved; i is the index of the variable.
func (s *Solution) without(variables []problem.Variable, i int) (*Solution, error) {
	parts := slices.Clone(s.parts)
	for n, p := range parts {
		if !slices.Contains(p.Group.Variables, i) {
			continue
		}
		parts[n] = problem.New(variables, p.Constraints, p.Group)
		if err := parts[n].Solve(); err != nil {
			return nil, err
		}
	}
	return whole(parts, len(variables)), nil
}

// tied parts the variables into groups, in the order of their first variable.
func tied(variables []problem.Variable, constraints []problem.Constraint) []problem.Group {
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
	var out []problem.Group
	for i := range variables {
		l := find(i)
		if l == i {
			place[i] = len(out)
			out = append(out, problem.Group{})
		}
		g := &out[place[l]]
		g.Variables = append(g.Variables, i)
	}
	for k, c := range constraints {
		if len(c.Uses) > 0 {
			g := &out[place[find(c.Uses[0])]]
			g.Constraints = append(g.Constraints, k)
		}
	}
	return out
}
