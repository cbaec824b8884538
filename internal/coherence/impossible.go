package coherence

import (
	"math"
	"slices"

	"echotally/internal/reconcile"
	"echotally/internal/reconcile/problem"
)

// enough is by how much taking the impossible values out must lower the
// chi-square: the 95 % point of one degree of freedom.
const enough = 3.841458820694124

// eliminate looks for the values that do not fit the others. A value that no
// heart or body has is the first to be suspected, wherever it bears on the
// misfit: where it lies a relation may hardly depend on it, so that the misfit
// would be laid to its neighbours. The measurands are those of the variables.
func (r study) eliminate(variables []problem.Variable, constraints []problem.Constraint, measurands []string) (*reconcile.Finding, error) {
	f, err := reconcile.Eliminate(variables, constraints, familyLevel, mostSuspects)
	if err != nil || len(f.Rounds) == 0 {
		return f, err
	}
	rest, out := slices.Clone(variables), []int(nil)
	for i, v := range variables {
		low, high, known := r.Plausible(measurands[i])
		if known && v.Measured && low > 0 && (v.Value < low || v.Value > high) {
			rest[i].Measured, rest[i].Value = false, math.Sqrt(low*high)
			out = append(out, i)
		}
	}
	if len(out) == 0 {
		return f, nil
	}
	g, err := reconcile.Eliminate(rest, constraints, familyLevel, mostSuspects-1)
	if err != nil || g.First.ChiSquare > f.First.ChiSquare-enough {
		return f, nil
	}
	var first []reconcile.Suspect
	for _, i := range out {
		back := slices.Clone(rest)
		back[i] = variables[i]
		if s, err := reconcile.Solve(back, constraints); err == nil && s.ChiSquare <= g.First.ChiSquare+enough {
			continue // impossible, and no part of this misfit
		}
		e := g.First.Variables[i]
		first = append(first, reconcile.Suspect{Name: e.Name, Value: variables[i].Value, Z: f.First.Variables[i].Z,
			Estimate: e.Reconciled, Low: e.Low, High: e.High, Estimable: e.Estimable})
	}
	if len(first) == 0 {
		return f, nil
	}
	g.First, g.Rounds = f.First, append([][]reconcile.Suspect{first}, g.Rounds...)
	return g, nil
}
