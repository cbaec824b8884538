package reconcile

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"

	"echotally/internal/reconcile/problem"
)

// Suspect is the measurement that explains a misfit.
type Suspect struct {
	Name      string
	Value     float64 // as measured
	Z         float64 // normalised residual when it was named
	Estimate  float64 // what the other measurements imply
	Low, High float64 // 95 % interval of Estimate
	Estimable bool
}

// Finding is the outcome of serial elimination.
type Finding struct {
	First    *Solution   // with all measurements
	Level    float64     // family-wise error level of each round
	Critical float64     // critical normalised residual of the first round
	Rounds   [][]Suspect // per round, the suspects that cannot be told apart; the first of each was eliminated
	Last     *Solution   // after elimination
	Settled  bool        // the remaining measurements fit together
}

// apart is how much better (in chi-square) one elimination must explain the
// misfit than another to tell the two apart: the 95 % point of one degree of
// freedom.
const apart = 3.841458820694124

// alike is the share of the chi-square by which eliminations may differ and still
// explain the misfit alike. Of such, the measurement that would be wrong by the
// most comes first: slips are large.
const alike = 1e-7

// hopeless is how many times smaller than the largest a normalised residual may
// be and its measurement still be tried. Where the relations are linear, taking
// a measurement out lowers the chi-square by just the square of it; the margin
// is for those that are not.
const hopeless = 4

// Eliminate applies the measurement test serially: while the measurements do
// not fit together at the level, the one with the largest normalised residual
// is taken as unmeasured, at most limit times.
func Eliminate(variables []problem.Variable, constraints []problem.Constraint, level float64, limit int) (*Finding, error) {
	first, err := Solve(variables, constraints)
	if err != nil {
		return nil, err
	}
	f := &Finding{First: first, Last: first, Level: level, Critical: critical(first, level)}
	vars := append([]problem.Variable(nil), variables...)
	for len(f.Rounds) < limit && !f.Last.fits(level) {
		round := suspects(vars, f.Last)
		if len(round) == 0 {
			break
		}
		worst := indexOf(vars, round[0].Name)
		vars[worst].Measured = false
		vars[worst].Value = round[0].Estimate
		next, err := f.Last.without(vars, worst)
		if err != nil {
			return nil, err
		}
		f.Rounds, f.Last = append(f.Rounds, round), next
	}
	f.Settled = f.Last.fits(level)
	return f, nil
}

// critical is the two-sided critical value for the largest of the testable
// normalised residuals at a family-wise level (Šidák).
func critical(s *Solution, level float64) float64 {
	n := 0
	for _, v := range s.Variables {
		if v.Testable {
			n++
		}
	}
	if n == 0 {
		return math.Inf(1)
	}
	each := 1 - math.Pow(1-level, 1/float64(n))
	return distuv.UnitNormal.Quantile(1 - each/2)
}

// fits reports whether neither the global nor the measurement test rejects.
func (s *Solution) fits(level float64) bool {
	if s.Freedom == 0 {
		return true
	}
	limit := critical(s, level)
	for _, v := range s.Variables {
		if v.Testable && v.Z > limit {
			return false
		}
	}
	return s.PValue >= level
}

// suspects lists the measurement whose elimination lowers the chi-square most,
// followed by those that explain the misfit nearly as well.
func suspects(vars []problem.Variable, s *Solution) []Suspect {
	type trial struct {
		index int
		chi   float64
		off   float64 // how far, relatively, the value would be from the true one
		sol   *Solution
	}
	var trials []trial
	worst := 0.0
	for _, e := range s.Variables {
		worst = math.Max(worst, e.Z)
	}
	for i, e := range s.Variables {
		if !e.Testable || e.Z < worst/hopeless {
			continue
		}
		without := append([]problem.Variable(nil), vars...)
		without[i].Measured = false
		sol, err := s.without(without, i)
		if err != nil {
			continue // eliminating this one leaves no solvable system
		}
		implied := sol.Variables[i].Reconciled
		trials = append(trials, trial{i, sol.ChiSquare, math.Abs(math.Log(math.Abs(vars[i].Value / implied))), sol})
	}
	sort.SliceStable(trials, func(a, b int) bool {
		x, y := trials[a], trials[b]
		if math.Abs(x.chi-y.chi) <= alike*s.ChiSquare {
			return x.off > y.off*(1+alike)
		}
		return x.chi < y.chi
	})
	var out []Suspect
	for k, t := range trials {
		if k > 0 && t.chi-trials[0].chi > apart {
			break
		}
		e := t.sol.Variables[t.index]
		out = append(out, Suspect{Name: e.Name, Value: vars[t.index].Value, Z: s.Variables[t.index].Z,
			Estimate: e.Reconciled, Low: e.Low, High: e.High, Estimable: e.Estimable})
	}
	return out
}

func indexOf(vars []problem.Variable, name string) int {
	for i, v := range vars {
		if v.Name == name {
			return i
		}
	}
	return -1
}
