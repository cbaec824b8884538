package reconcile_test

import (
	"math"
	"testing"

	"echotally/internal/reconcile"
	"echotally/internal/reconcile/problem"
)

// network is the heat exchanger with a bypass: stream 1 splits into 2 and 3,
// 2 passes to 4, 3 to 5, and 4 and 5 join to 6.
func network() []problem.Constraint {
	return []problem.Constraint{
		{Name: "splitter", Uses: []int{0, 1, 2}, Residual: func(x []float64) float64 { return x[0] - x[1] - x[2] }},
		{Name: "exchanger", Uses: []int{1, 3}, Residual: func(x []float64) float64 { return x[1] - x[3] }},
		{Name: "bypass valve", Uses: []int{2, 4}, Residual: func(x []float64) float64 { return x[2] - x[4] }},
		{Name: "mixer", Uses: []int{3, 4, 5}, Residual: func(x []float64) float64 { return x[3] + x[4] - x[5] }},
	}
}

func streams(measured ...float64) []problem.Variable {
	names := []string{"1", "2", "3", "4", "5", "6"}
	var out []problem.Variable
	for i, m := range measured {
		out = append(out, problem.Variable{Name: names[i], Value: m, Measured: true, SD: 1})
	}
	return out
}

// TestHeatExchangerWithBypass uses the flow-reconciliation example of Narasimhan
// S, Jordache C, Data Reconciliation and Gross Error Detection (Gulf, 2000),
// chapter 1, table 1-1: all flows measured, unit variances. (Figures from
// memory; the least-squares solution was recomputed by hand: 4a+2b = 329.44,
// 2a+4b = 271.88.)
func TestHeatExchangerWithBypass(t *testing.T) {
	s, err := reconcile.Solve(streams(101.91, 64.45, 34.65, 64.20, 36.44, 98.88), network())
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{100.22, 64.50, 35.72, 64.50, 35.72, 100.22} {
		if got := s.Variables[i].Reconciled; math.Abs(got-want) > 0.005 {
			t.Errorf("stream %s: reconciled %.4f, printed %.2f", s.Variables[i].Name, got, want)
		}
	}
	if s.Freedom != 4 {
		t.Errorf("degrees of freedom %d, want 4: four independent balances", s.Freedom)
	}
}

// TestUnmeasuredStreams is table 1-2 of the same chapter: streams 3 to 6 not
// measured. The two that are measured do not constrain each other: their values
// stay and the rest follows.
func TestUnmeasuredStreams(t *testing.T) {
	v := streams(101.91, 64.45, 50, 50, 50, 50)
	for i := 2; i < 6; i++ {
		v[i].Measured, v[i].SD = false, 0
	}
	s, err := reconcile.Solve(v, network())
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{101.91, 64.45, 37.46, 64.45, 37.46, 101.91} {
		if got := s.Variables[i].Reconciled; math.Abs(got-want) > 0.005 || !s.Variables[i].Estimable {
			t.Errorf("stream %s: reconciled %.4f (estimable %v), printed %.2f", s.Variables[i].Name, got, s.Variables[i].Estimable, want)
		}
	}
	if s.Freedom != 0 || s.PValue != 1 {
		t.Errorf("freedom %d, p %v: nothing can be tested here", s.Freedom, s.PValue)
	}
	for _, e := range s.Variables {
		if e.Testable {
			t.Errorf("stream %s is called testable without redundancy", e.Name)
		}
	}
}

func TestUndeterminedVariableIsNotEstimated(t *testing.T) {
	v := []problem.Variable{{Name: "total", Value: 10, Measured: true, SD: 1}, {Name: "a", Value: 1}, {Name: "b", Value: 1}}
	c := []problem.Constraint{{Name: "sum", Uses: []int{0, 1, 2}, Residual: func(x []float64) float64 { return x[0] - x[1] - x[2] }}}
	s, err := reconcile.Solve(v, c)
	if err != nil {
		t.Fatal(err)
	}
	if s.Variables[1].Estimable || s.Variables[2].Estimable {
		t.Error("one relation cannot determine two unknowns")
	}
}

func TestSameRelationTwiceCountsOnce(t *testing.T) {
	v := streams(101.91, 64.45, 34.65, 64.20, 36.44, 98.88)
	once, _ := reconcile.Solve(v, network())
	twice, err := reconcile.Solve(v, append(network(), network()[0]))
	if err != nil {
		t.Fatal(err)
	}
	if once.Freedom != twice.Freedom || math.Abs(once.ChiSquare-twice.ChiSquare) > 1e-6 {
		t.Errorf("freedom %d and %d, chi-square %v and %v", once.Freedom, twice.Freedom, once.ChiSquare, twice.ChiSquare)
	}
}

func TestModelUncertaintyLoosensARelation(t *testing.T) {
	v := []problem.Variable{{Name: "a", Value: 10, Measured: true, SD: 1}, {Name: "b", Value: 14, Measured: true, SD: 1}}
	relation := problem.Constraint{Name: "equal", Uses: []int{0, 1}, Residual: func(x []float64) float64 { return x[0] - x[1] }}
	exact, _ := reconcile.Solve(v, []problem.Constraint{relation})
	relation.ModelSD = 2
	loose, _ := reconcile.Solve(v, []problem.Constraint{relation})
	// Chi-square of a difference of 4: 16/(1+1) exact, 16/(1+1+4) loose.
	if math.Abs(exact.ChiSquare-8) > 1e-9 || math.Abs(loose.ChiSquare-16.0/6) > 1e-9 {
		t.Errorf("chi-square %v and %v, want 8 and 2.667", exact.ChiSquare, loose.ChiSquare)
	}
}

// TestGrossErrorIsNamed spoils one stream of the network and expects serial
// elimination to name it. Streams 1 and 6 are in the same two balances of the
// total flow, so that an error in one shows as an error in it alone; 2 and 4,
// likewise.
func TestGrossErrorIsNamed(t *testing.T) {
	for wrong := range 6 {
		m := []float64{100.3, 64.1, 35.8, 63.9, 36.2, 99.8}
		m[wrong] += 12
		f, err := reconcile.Eliminate(streams(m...), network(), 0.05, 2)
		if err != nil {
			t.Fatal(err)
		}
		if len(f.Rounds) != 1 || f.Rounds[0][0].Name != streams(m...)[wrong].Name || !f.Settled {
			t.Errorf("stream %d spoiled: rounds %+v, settled %v", wrong+1, f.Rounds, f.Settled)
			continue
		}
		if e := f.Rounds[0][0]; math.Abs(e.Estimate-(m[wrong]-12)) > 2 {
			t.Errorf("stream %d: implied %v, true about %v", wrong+1, e.Estimate, m[wrong]-12)
		}
	}
}

func TestTwoSuspectsThatCannotBeToldApart(t *testing.T) {
	v := []problem.Variable{{Name: "a", Value: 10, Measured: true, SD: 1}, {Name: "b", Value: 20, Measured: true, SD: 1}}
	c := []problem.Constraint{{Name: "equal", Uses: []int{0, 1}, Residual: func(x []float64) float64 { return x[0] - x[1] }}}
	f, err := reconcile.Eliminate(v, c, 0.05, 2)
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Rounds) != 1 || len(f.Rounds[0]) != 2 {
		t.Fatalf("two values and one relation: both are suspects, got %+v", f.Rounds)
	}
}

func TestProductRelationOnTheLogScale(t *testing.T) {
	// 10 × 5 should be 50 but 60 was measured; equal relative errors share the log misfit equally.
	v := []problem.Variable{
		{Name: "area", Value: 10, Measured: true, SD: 0.1, Log: true},
		{Name: "integral", Value: 5, Measured: true, SD: 0.1, Log: true},
		{Name: "volume", Value: 60, Measured: true, SD: 0.1, Log: true},
	}
	c := []problem.Constraint{{Name: "volume", Uses: []int{0, 1, 2}, Residual: func(x []float64) float64 { return math.Log(x[0] * x[1] / x[2]) }}}
	s, err := reconcile.Solve(v, c)
	if err != nil {
		t.Fatal(err)
	}
	share := math.Log(60.0/50) / 3
	for i, want := range []float64{10 * math.Exp(share), 5 * math.Exp(share), 60 * math.Exp(-share)} {
		if got := s.Variables[i].Reconciled; math.Abs(got-want) > 1e-6 {
			t.Errorf("%s: %v, want %v", s.Variables[i].Name, got, want)
		}
	}
	if want := math.Pow(math.Log(1.2), 2) / 0.03; math.Abs(s.ChiSquare-want) > 1e-6 {
		t.Errorf("chi-square %v, want %v", s.ChiSquare, want)
	}
}

func TestBadVariablesAreRefused(t *testing.T) {
	for name, v := range map[string]problem.Variable{
		"no uncertainty":           {Name: "x", Value: 1, Measured: true},
		"zero on the log scale":    {Name: "x", Value: 0, Measured: true, SD: 1, Log: true},
		"negative uncertainty":     {Name: "x", Value: 1, Measured: true, SD: -1},
		"not a number, log scale":  {Name: "x", Value: math.NaN(), Measured: true, SD: 1, Log: true},
		"not a number uncertainty": {Name: "x", Value: 1, Measured: true, SD: math.NaN()},
	} {
		if _, err := reconcile.Solve([]problem.Variable{v}, nil); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}
