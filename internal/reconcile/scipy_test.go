package reconcile_test

import (
	"bytes"
	"encoding/json"
	"math"
	"math/rand/v2"
	"os/exec"
	"testing"

	"echotally/internal/reconcile"
	"echotally/internal/reconcile/problem"
)

type term [2]float64 // variable index, coefficient or exponent

type relation struct {
	Kind     string  `json:"kind"`
	Terms    []term  `json:"terms"`
	Constant float64 `json:"constant"`
}

type reference struct {
	Value       []float64  `json:"value"`
	SD          []float64  `json:"sd"`
	Log         []bool     `json:"log"`
	Constraints []relation `json:"constraints"`
}

func (r relation) constraint() problem.Constraint {
	c := problem.Constraint{}
	for _, t := range r.Terms {
		c.Uses = append(c.Uses, int(t[0]))
	}
	c.Residual = func(x []float64) float64 {
		sum := 0.0
		for _, t := range r.Terms {
			v := x[int(t[0])]
			if r.Kind == "product" {
				v = math.Log(v)
			}
			sum += t[1] * v
		}
		if r.Kind == "product" {
			sum -= math.Log(r.Constant)
		}
		return sum
	}
	return c
}

// flows is a random study-like problem: outflow diameter (0), integral (1),
// stroke volume (2), rate (3), output (4), end-diastolic and end-systolic volume
// (5, 6), all measured with error.
func flows(rng *rand.Rand) reference {
	noise := func(sd float64) float64 { return math.Exp(sd * rng.NormFloat64()) }
	d, vti, hr, edv := 1.8+0.5*rng.Float64(), 15+10*rng.Float64(), 55+40*rng.Float64(), 0.0
	sv := math.Pi / 4 * d * d * vti
	edv = sv / (0.5 + 0.2*rng.Float64())
	r := reference{SD: []float64{0.05, 0.07, 0.08, 0.03, 0.08, 0.1, 0.12}, Log: []bool{true, true, true, true, true, true, true}}
	for i, v := range []float64{d, vti, sv, hr, sv * hr / 1000, edv, edv - sv} {
		r.Value = append(r.Value, v*noise(r.SD[i]))
	}
	r.Constraints = []relation{
		{"product", []term{{0, 2}, {1, 1}, {2, -1}}, 4 / math.Pi},
		{"product", []term{{2, 1}, {3, 1}, {4, -1}}, 1000},
		{"sum", []term{{5, 1}, {6, -1}, {2, -1}}, 0},
	}
	return r
}

// TestAgainstScipy compares reconciled values and chi-square with a general
// constrained optimiser: scipy.optimize.minimize, method SLSQP (SciPy, Virtanen
// P et al. Nat Methods 2020;17:261-272).
func TestAgainstScipy(t *testing.T) {
	const python = "/usr/bin/python3"
	if err := exec.Command(python, "-c", "import scipy").Run(); err != nil {
		t.Skip("python3-scipy is not installed: the comparison with a general optimiser needs it")
	}
	rng := rand.New(rand.NewPCG(7, 11))
	var problems []reference
	for range 40 {
		problems = append(problems, flows(rng))
	}
	in, _ := json.Marshal(problems)
	cmd := exec.Command(python, "testdata/reconcile_scipy.py")
	cmd.Stdin = bytes.NewReader(in)
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	var answers []struct {
		X   []float64 `json:"x"`
		Chi float64   `json:"chi"`
		OK  bool      `json:"ok"`
	}
	if err := json.Unmarshal(out, &answers); err != nil {
		t.Fatal(err)
	}
	compared := 0
	for k, p := range problems {
		if !answers[k].OK {
			continue
		}
		compared++
		var v []problem.Variable
		for i := range p.Value {
			v = append(v, problem.Variable{Name: string(rune('a' + i)), Value: p.Value[i], SD: p.SD[i], Log: p.Log[i], Measured: true})
		}
		var c []problem.Constraint
		for _, r := range p.Constraints {
			c = append(c, r.constraint())
		}
		s, err := reconcile.Solve(v, c)
		if err != nil {
			t.Fatalf("problem %d: %v", k, err)
		}
		for i := range v {
			if math.Abs(s.Variables[i].Reconciled/answers[k].X[i]-1) > 2e-4 {
				t.Errorf("problem %d, %s: %v, scipy %v", k, v[i].Name, s.Variables[i].Reconciled, answers[k].X[i])
			}
		}
		if math.Abs(s.ChiSquare-answers[k].Chi) > 1e-3*(1+answers[k].Chi) {
			t.Errorf("problem %d: chi-square %v, scipy %v", k, s.ChiSquare, answers[k].Chi)
		}
	}
	if compared < 30 {
		t.Errorf("only %d of %d problems could be compared", compared, len(problems))
	}
}
