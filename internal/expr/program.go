package expr

import (
	"math"
	"sync"

	"echotally/internal/ucum"
)

// Values gives an input's number in the unit of its symbol; 1 and 0 for true
// and false; NaN when it cannot be told.
type Values func(Input) float64

// Truth is a logical value that may be unknown.
type Truth int

// Truth values.
const (
	Unknown Truth = iota
	False
	True
)

// Program is a compiled expression. It is safe for concurrent use.
type Program struct {
	Source   string
	Kind     Kind
	Unit     ucum.Unit
	Required []string // aliases that must have a value: asked for more than whether they are there, and not guarded
	Inputs   []Input  // everything asked for, in order of appearance

	steps  []step
	result place
	scale  float64    // of the result to the coherent unit
	frames *sync.Pool // of *frame, where the stack does not serve
}

// place is where the number of a step stands: at the index of the step.
type place int32

// step computes one number from those of earlier steps.
type step struct {
	does    operation
	a, b, c place   // operands
	more    []place // arguments of a call; of a comparison the terms its sides were summed from
	x       float64 // a literal; of an input the factor to the coherent unit
	input   int32   // index in Inputs
	formula *formula
}

// formula is a function ready to be called with coherent units.
type formula struct {
	Function
	in  []float64 // factor of each parameter to the coherent unit
	out float64
}

// frame is the room an evaluation needs.
type frame struct {
	x         []float64
	arguments []float64
}

// onStack is how many steps are evaluated without a frame.
const onStack = 48

// prepare makes room where the stack does not serve: many steps, or arguments
// handed to a formula.
func (p *Program) prepare() {
	arguments, n := 0, len(p.steps)
	for i := range p.steps {
		if p.steps[i].formula != nil {
			arguments = max(arguments, len(p.steps[i].more))
		}
	}
	if arguments > 0 || n > onStack {
		p.frames = &sync.Pool{New: func() any { return &frame{x: make([]float64, n), arguments: make([]float64, arguments)} }}
	}
}

// Eval computes the expression in its Unit; NaN when it cannot be told.
func (p *Program) Eval(values Values) float64 {
	var y float64
	if p.frames == nil {
		var x [onStack]float64
		y = p.run(x[:len(p.steps)], nil, values)
	} else {
		f := p.frames.Get().(*frame)
		y = p.run(f.x, f.arguments, values)
		p.frames.Put(f)
	}
	return finite(y) / p.scale
}

// Holds evaluates a Bool expression.
func (p *Program) Holds(values Values) Truth {
	return truthOf(p.Eval(values))
}

// Alias returns the name when the expression is nothing but a name.
func (p *Program) Alias() (string, bool) {
	if len(p.Inputs) == 1 && p.Inputs[0].Question == nil && p.Source == p.Inputs[0].Name {
		return p.Source, true
	}
	return "", false
}

func (p *Program) run(x, arguments []float64, values Values) float64 {
	for i := range p.steps {
		s := &p.steps[i]
		switch s.does {
		case literal:
			x[i] = s.x
		case input:
			x[i] = values(p.Inputs[s.input]) * s.x
		case negate:
			x[i] = -x[s.a]
		case add:
			x[i] = x[s.a] + x[s.b]
		case subtract:
			x[i] = x[s.a] - x[s.b]
		case multiply:
			x[i] = x[s.a] * x[s.b]
		case divide:
			x[i] = finite(x[s.a] / x[s.b])
		case power:
			x[i] = finite(math.Pow(x[s.a], x[s.b]))
		case not:
			x[i] = 1 - x[s.a]
		case and:
			x[i] = both(x[s.a], x[s.b])
		case or:
			x[i] = either(x[s.a], x[s.b])
		case choose:
			x[i] = chosen(x[s.a], x[s.b], x[s.c])
		case less, notMore, more, notLess, equal, unequal:
			x[i] = compare(s.does, x[s.a], x[s.b], largest(x, s.more))
		case call:
			x[i] = s.formula.compute(x, s.more, arguments)
		default:
			x[i] = compute(s.does, x, s.more)
		}
	}
	return x[p.result]
}

// compute applies one of the functions that take a list of numbers.
func compute(does operation, x []float64, args []place) float64 {
	first := x[args[0]]
	switch does {
	case absolute:
		return math.Abs(first)
	case squareRoot:
		return math.Sqrt(first)
	case minimum:
		for _, at := range args[1:] {
			first = math.Min(first, x[at])
		}
		return first
	case maximum:
		for _, at := range args[1:] {
			first = math.Max(first, x[at])
		}
		return first
	case between: // ends included
		return both(compare(notLess, first, x[args[1]], 0), compare(notLess, x[args[2]], first, 0))
	case tier: // how many limits are reached
		n := 0.0
		for _, at := range args[1:] {
			n += compare(notLess, first, x[at], 0)
		}
		return n
	case tally: // how many are true
		n := 0.0
		for _, at := range args {
			n += x[at]
		}
		return n
	}
	return math.NaN()
}

// compute takes arguments in coherent units and gives them to the formula in
// those of its parameters.
func (f *formula) compute(x []float64, args []place, arguments []float64) float64 {
	arguments = arguments[:len(args)]
	for i, at := range args {
		if math.IsNaN(x[at]) {
			return x[at]
		}
		arguments[i] = x[at] / f.in[i]
	}
	y, err := f.Call(arguments)
	if err != nil {
		return math.NaN()
	}
	return finite(y * f.out)
}

// noise is the relative size of floating-point noise: two numbers that differ
// by less are the same number.
const noise = 1e-9

// compare allows for noise, that of the largest number on the way: of the two
// sides and of the terms they were summed from.
func compare(does operation, a, b, terms float64) float64 {
	if !known(a) || !known(b) {
		return math.NaN()
	}
	tolerance := noise * max(terms, math.Abs(a), math.Abs(b))
	switch does {
	case less:
		return bit(a < b-tolerance)
	case notMore:
		return bit(a <= b+tolerance)
	case more:
		return bit(a > b+tolerance)
	case notLess:
		return bit(a >= b-tolerance)
	case equal:
		return bit(math.Abs(a-b) <= tolerance)
	}
	return bit(math.Abs(a-b) > tolerance)
}

// largest is the size of the largest term; one that cannot be told stood in the
// branch not taken.
func largest(x []float64, terms []place) float64 {
	size := 0.0
	for _, at := range terms {
		if v := math.Abs(x[at]); known(v) {
			size = max(size, v)
		}
	}
	return size
}

func known(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// finite turns the infinity that float division and powers give into "cannot
// tell", before later arithmetic can hide it.
func finite(x float64) float64 {
	if math.IsInf(x, 0) {
		return math.NaN()
	}
	return x
}

func bit(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func truthOf(x float64) Truth {
	switch {
	case math.IsNaN(x):
		return Unknown
	case x == 0:
		return False
	}
	return True
}

// both, either and chosen follow Kleene: what settles the answer settles it
// whatever the rest may be.
func both(a, b float64) float64 {
	switch x, y := truthOf(a), truthOf(b); {
	case x == False || y == False:
		return 0
	case x == True && y == True:
		return 1
	}
	return math.NaN()
}

func either(a, b float64) float64 {
	switch x, y := truthOf(a), truthOf(b); {
	case x == True || y == True:
		return 1
	case x == False && y == False:
		return 0
	}
	return math.NaN()
}

func chosen(condition, a, b float64) float64 {
	switch truthOf(condition) {
	case True:
		return a
	case False:
		return b
	}
	if a == b {
		return a
	}
	return math.NaN()
}
