package expr

import (
	"math"

	"github.com/expr-lang/expr/builtin"
)

// noise is the relative size of floating-point noise: two numbers that differ
// by less are the same number.
const noise = 1e-9

// Names of our functions in the compiled tree. The dot keeps them out of reach
// of rule files.
const (
	fnDivide = ".divide"
	fnPower  = ".power"
	fnAnd    = ".and"
	fnOr     = ".or"
	fnNot    = ".not"
	fnChoose = ".choose"
)

func bit(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// compare returns a comparison of x[0] with x[1] that allows for noise. The
// noise is that of the largest number on the way: further arguments are the
// terms the two sides were summed from.
func compare(holds func(a, b, tolerance float64) bool) func([]float64) float64 {
	return func(x []float64) float64 {
		size := 0.0
		for i, v := range x {
			known := !math.IsNaN(v) && !math.IsInf(v, 0)
			switch {
			case known:
				size = max(size, math.Abs(v))
			case i < 2:
				return math.NaN() // a term may be unknown: it stood in the branch not taken
			}
		}
		return bit(holds(x[0], x[1], noise*size))
	}
}

func and(x []float64) float64 {
	a, b := truthOf(x[0]), truthOf(x[1])
	switch {
	case a == False || b == False:
		return 0
	case a == True && b == True:
		return 1
	}
	return math.NaN()
}

func or(x []float64) float64 {
	a, b := truthOf(x[0]), truthOf(x[1])
	switch {
	case a == True || b == True:
		return 1
	case a == False && b == False:
		return 0
	}
	return math.NaN()
}

func choose(x []float64) float64 {
	switch truthOf(x[0]) {
	case True:
		return x[1]
	case False:
		return x[2]
	}
	if x[1] == x[2] {
		return x[1]
	}
	return math.NaN()
}

// finite turns the infinity that float division and powers give into "cannot
// tell", before later arithmetic can hide it.
func finite(x float64) float64 {
	if math.IsInf(x, 0) {
		return math.NaN()
	}
	return x
}

func extreme(pick func(a, b float64) float64) func([]float64) float64 {
	return func(x []float64) float64 {
		out := x[0]
		for _, v := range x[1:] {
			out = pick(out, v)
		}
		return out
	}
}

func notLess(a, b, t float64) bool { return a >= b-t }

// between is x[0] within x[1] and x[2], ends included.
func between(x []float64) float64 {
	reaches := compare(notLess)
	return and([]float64{reaches(x[:2]), reaches([]float64{x[2], x[0]})})
}

// tier counts the limits that x[0] reaches.
func tier(x []float64) float64 {
	reaches, n := compare(notLess), 0.0
	for _, limit := range x[1:] {
		n += reaches([]float64{x[0], limit})
	}
	return n
}

// tally counts what is true.
func tally(x []float64) float64 {
	n := 0.0
	for _, v := range x {
		n += v
	}
	return n
}

// total lists the functions of the compiled tree. Each gives a number, or NaN,
// for any arguments.
func total() map[string]func([]float64) float64 {
	return map[string]func([]float64) float64{
		"<":       compare(func(a, b, t float64) bool { return a < b-t }),
		"<=":      compare(func(a, b, t float64) bool { return a <= b+t }),
		">":       compare(func(a, b, t float64) bool { return a > b+t }),
		">=":      compare(notLess),
		"==":      compare(func(a, b, t float64) bool { return math.Abs(a-b) <= t }),
		"!=":      compare(func(a, b, t float64) bool { return math.Abs(a-b) > t }),
		fnDivide:  func(x []float64) float64 { return finite(x[0] / x[1]) },
		fnPower:   func(x []float64) float64 { return finite(math.Pow(x[0], x[1])) },
		fnAnd:     and,
		fnOr:      or,
		fnNot:     func(x []float64) float64 { return 1 - x[0] },
		fnChoose:  choose,
		"abs":     func(x []float64) float64 { return math.Abs(x[0]) },
		"sqrt":    func(x []float64) float64 { return math.Sqrt(x[0]) },
		"min":     extreme(math.Min),
		"max":     extreme(math.Max),
		"between": between,
		"tier":    tier,
		"tally":   tally,
	}
}

// native wraps a total function for the virtual machine.
func native(name string, f func([]float64) float64) *builtin.Function {
	return &builtin.Function{Name: name, Func: func(args ...any) (any, error) {
		x := make([]float64, len(args))
		for i, a := range args {
			x[i], _ = a.(float64)
		}
		return f(x), nil
	}}
}

// formula wraps a formula function: arguments come in coherent units and are
// given in those of its parameters.
func formula(f Function) func([]float64) float64 {
	in := make([]float64, len(f.Parameters))
	for i, p := range f.Parameters {
		in[i] = coherentFactor(p.Unit)
	}
	out := coherentFactor(f.Result)
	return func(x []float64) float64 {
		args := make([]float64, len(x))
		for i, v := range x {
			if math.IsNaN(v) {
				return v
			}
			args[i] = v / in[i]
		}
		y, err := f.Call(args)
		if err != nil {
			return math.NaN()
		}
		return finite(y * out)
	}
}
