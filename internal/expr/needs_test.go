package expr_test

import (
	"math"
	"testing"

	"echotally/internal/expr"
)

// What a condition is said to need is tried out: without a value of it, no
// answers to the rest make it hold; of the others some do.
func TestConditionsNeedWhatTheyCannotHoldWithout(t *testing.T) {
	for source, needs := range map[string]bool{
		"present(tr)":                                   true,
		"not present(tr)":                               false,
		"tr > v1":                                       true,
		"not (tr > v1)":                                 true,
		"present(tr) and rap > ten":                     true,
		"present(tr) or rap > ten":                      false,
		"present(tr) or tr > v1":                        true,
		"not (present(tr) and rap > ten)":               false,
		"between(rap, 0, peak_gradient(tr))":            true,
		"not between(rap, peak_gradient(tr), ten)":      false,
		"tally(tr > v1, rap > ten) >= 1":                true,
		"(tr / v1) ** 0 > 0":                            false,
		"rap > ten ? tr > v1 : present(tr)":             true,
		"rap > ten ? tr > v1 : rvsp > rap":              false,
		"mentioned(af) and (rvsp > rap or present(tr))": false,
		"count(tr) > 0":                                 false, // it may be known of nothing
		"rap > ten":                                     false,
	} {
		p := compile(t, source)
		if got := p.Needs("tr"); got != needs {
			t.Errorf("%s needs tr: %v", source, got)
		}
		holds := false
		for n := range 1 << 6 {
			holds = holds || p.Holds(func(in *expr.Input) float64 {
				if in.Name == "tr" {
					if in.Question != nil {
						return 0
					}
					return math.NaN()
				}
				for i, name := range []string{"rap", "rvsp", "v1"} {
					if in.Name == name && in.Question == nil {
						return []float64{math.NaN(), 1, 12, 40}[n>>(2*i)&3]
					}
				}
				if in.Name == "ten" {
					return 10
				}
				return 1
			}) == expr.True
		}
		if needs && holds {
			t.Errorf("%s holds without tr", source)
		}
	}
}
