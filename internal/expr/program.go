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
	done      []bool
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
		p.frames = &sync.Pool{New: func() any {
			return &frame{x: make([]float64, n), done: make([]bool, n), arguments: make([]float64, arguments)}
		}}
	}
}

// Eval computes the expression in its Unit; NaN when it cannot be told.
func (p *Program) Eval(values Values) float64 {
	if p.frames == nil {
		var (
			x    [onStack]float64
			done [onStack]bool
		)
		e := evaluation{p, values, x[:len(p.steps)], done[:len(p.steps)]}
		return finite(e.at(p.result, nil)) / p.scale
	}
	f := p.frames.Get().(*frame)
	clear(f.done)
	e := evaluation{p, values, f.x, f.done}
	y := e.at(p.result, f.arguments)
	p.frames.Put(f)
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

// evaluation computes the steps that the result needs, each once: most
// conditions are settled by their first part, and asking a study is what takes
// the time.
type evaluation struct {
	*Program
	values Values
	x      []float64
	done   []bool
}

// at gives the number of a step; arguments are room for those of a formula.
func (e *evaluation) at(i place, arguments []float64) float64 {
	if !e.done[i] {
		e.x[i], e.done[i] = e.step(&e.steps[i], arguments), true
	}
	return e.x[i]
}

func (e *evaluation) step(s *step, arguments []float64) float64 {
	switch s.does {
	case literal:
		return s.x
	case input:
		return e.values(e.Inputs[s.input]) * s.x
	case negate:
		return -e.at(s.a, arguments)
	case add:
		return e.at(s.a, arguments) + e.at(s.b, arguments)
	case subtract:
		return e.at(s.a, arguments) - e.at(s.b, arguments)
	case multiply:
		return e.at(s.a, arguments) * e.at(s.b, arguments)
	case divide:
		return finite(e.at(s.a, arguments) / e.at(s.b, arguments))
	case power:
		return finite(math.Pow(e.at(s.a, arguments), e.at(s.b, arguments)))
	case not:
		return 1 - e.at(s.a, arguments)
	case and:
		if truthOf(e.at(s.a, arguments)) == False {
			return 0
		}
		return both(e.at(s.a, arguments), e.at(s.b, arguments))
	case or:
		if truthOf(e.at(s.a, arguments)) == True {
			return 1
		}
		return either(e.at(s.a, arguments), e.at(s.b, arguments))
	case choose:
		switch truthOf(e.at(s.a, arguments)) {
		case True:
			return e.at(s.b, arguments)
		case False:
			return e.at(s.c, arguments)
		}
		return chosen(e.at(s.a, arguments), e.at(s.b, arguments), e.at(s.c, arguments))
	}
	for _, at := range s.more {
		e.at(at, arguments)
	}
	switch s.does {
	case less, notMore, more, notLess, equal, unequal:
		return compare(s.does, e.at(s.a, arguments), e.at(s.b, arguments), largest(e.x, s.more))
	case call:
		return s.formula.compute(e.x, s.more, arguments)
	}
	return compute(s.does, e.x, s.more)
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
