package expr

import (
	"math"
	"sync"

	"echotally/internal/ucum"
)

// Values gives an input's number in the unit of its symbol; 1 and 0 for true
// and false; NaN when it cannot be told. The input is the program's and not to
// be changed.
type Values func(*Input) float64

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

	steps    []step
	lists    []place // of the steps, one after the other
	formulas []*formula
	shared   int // steps that have a slot
	result   place
	scale    float64    // of the result to the coherent unit
	frames   *sync.Pool // of *frame, where the stack does not serve
}

// place is where the number of a step stands: at the index of the step.
type place int32

// step computes one number from those of earlier steps. It is small: a study is put
// through thousands, and fetching them takes longer than what they do.
type step struct {
	x       float64 // a literal; of an input the factor to the coherent unit
	a, b, c place   // operands; of an input a is its index in Inputs, of a call that in formulas
	from, n int32   // where in lists its arguments stand, or of a comparison the terms its sides were summed from
	slot    int32   // where its number is kept once it is computed, from 1; 0 when only one other asks for it
	does    operation
}

// list are the arguments of a call; of a comparison the terms its sides were summed from.
func (p *Program) list(s *step) []place { return p.lists[s.from : s.from+s.n] }

// formula is a function ready to be called with coherent units.
type formula struct {
	Function
	in  []float64 // factor of each parameter to the coherent unit
	out float64
}

// frame is the room an evaluation needs.
type frame struct {
	x         []float64 // by slot
	done      []bool
	arguments []float64
}

// onStack is how many slots are had without a frame.
const onStack = 12

// prepare gives a slot to what several steps ask for, and makes room where the
// stack does not serve: many slots, or arguments handed to a formula.
func (p *Program) prepare() {
	asked := make([]int, len(p.steps))
	ask := func(i place) {
		if asked[i]++; asked[i] == 2 && p.steps[i].does != literal {
			p.shared++
			p.steps[i].slot = int32(p.shared)
		}
	}
	room := make([]int, len(p.steps)) // for the arguments of a step and of those it needs
	for i := range p.steps {
		s := &p.steps[i]
		for _, at := range append(s.operands(), p.list(s)...) {
			ask(at)
			room[i] = max(room[i], room[at])
		}
		if s.does == call {
			room[i] += int(s.n)
		}
	}
	arguments := room[p.result]
	if n := p.shared + 1; arguments > 0 || n > onStack {
		p.frames = &sync.Pool{New: func() any {
			return &frame{x: make([]float64, n), done: make([]bool, n), arguments: make([]float64, arguments)}
		}}
	}
}

// operands are where the numbers stand that a step computes from, but for its
// list.
func (s *step) operands() []place {
	switch s.does {
	case literal, input:
		return nil
	case negate, not:
		return []place{s.a}
	case choose:
		return []place{s.a, s.b, s.c}
	}
	if forms[s.does].rank == rankCall || s.does == call {
		return nil
	}
	return []place{s.a, s.b}
}

// Eval computes the expression in its Unit; NaN when it cannot be told.
func (p *Program) Eval(values Values) float64 { return p.eval(values, nil) }

// EvalOf is Eval with the numbers of the Inputs given, in their order: for an
// expression that is computed many times from numbers of which few change.
func (p *Program) EvalOf(inputs []float64) float64 { return p.eval(nil, inputs) }

func (p *Program) eval(values Values, inputs []float64) float64 {
	if p.frames == nil {
		var (
			x    [onStack]float64
			done [onStack]bool
		)
		e := evaluation{p, values, inputs, x[:], done[:]}
		return finite(e.at(p.result, nil)) / p.scale
	}
	f := p.frames.Get().(*frame)
	clear(f.done)
	e := evaluation{p, values, inputs, f.x, f.done}
	y := e.at(p.result, f.arguments)
	p.frames.Put(f)
	return finite(y) / p.scale
}

// Holds evaluates a Bool expression.
func (p *Program) Holds(values Values) Truth {
	return truthOf(p.Eval(values))
}

// HoldsOf is Holds with the numbers of the Inputs given, in their order.
func (p *Program) HoldsOf(inputs []float64) Truth {
	return truthOf(p.EvalOf(inputs))
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
	inputs []float64 // their numbers, where they are given; else values gives them
	x      []float64
	done   []bool
}

// at gives the number of a step; arguments are room for those of a formula.
func (e *evaluation) at(i place, arguments []float64) float64 {
	s := &e.steps[i]
	if s.slot == 0 {
		return e.step(s, arguments)
	}
	if !e.done[s.slot] {
		e.x[s.slot], e.done[s.slot] = e.step(s, arguments), true
	}
	return e.x[s.slot]
}

func (e *evaluation) step(s *step, arguments []float64) float64 {
	switch s.does {
	case literal:
		return s.x
	case input:
		if e.inputs != nil {
			return e.inputs[s.a] * s.x
		}
		return e.values(&e.Inputs[s.a]) * s.x
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
		a := e.at(s.a, arguments)
		if truthOf(a) == False {
			return 0
		}
		return both(a, e.at(s.b, arguments))
	case or:
		a := e.at(s.a, arguments)
		if truthOf(a) == True {
			return 1
		}
		return either(a, e.at(s.b, arguments))
	case choose:
		switch truthOf(e.at(s.a, arguments)) {
		case True:
			return e.at(s.b, arguments)
		case False:
			return e.at(s.c, arguments)
		}
		return same(e.at(s.b, arguments), e.at(s.c, arguments))
	case less, notMore, more, notLess, equal, unequal:
		a, b := e.at(s.a, arguments), e.at(s.b, arguments)
		return compare(s.does, a, b, e.largest(e.list(s), arguments))
	}
	return e.listed(s, arguments)
}

// listed computes from a list of numbers.
func (e *evaluation) listed(s *step, arguments []float64) float64 {
	if s.does == call {
		return e.call(s, arguments)
	}
	list := e.list(s)
	first := e.at(list[0], arguments)
	switch s.does {
	case absolute:
		return math.Abs(first)
	case squareRoot:
		return math.Sqrt(first)
	case minimum:
		for _, at := range list[1:] {
			first = math.Min(first, e.at(at, arguments))
		}
		return first
	case maximum:
		for _, at := range list[1:] {
			first = math.Max(first, e.at(at, arguments))
		}
		return first
	case between: // ends included
		low, high := e.at(list[1], arguments), e.at(list[2], arguments)
		return both(compare(notLess, first, low, 0), compare(notLess, high, first, 0))
	case tier: // how many limits are reached
		n := 0.0
		for _, at := range list[1:] {
			n += compare(notLess, first, e.at(at, arguments), 0)
		}
		return n
	case tally: // how many are true
		for _, at := range list[1:] {
			first += e.at(at, arguments)
		}
		return first
	}
	return math.NaN()
}

// call takes arguments in coherent units and gives them to the formula in those
// of its parameters.
func (e *evaluation) call(s *step, arguments []float64) float64 {
	f, own, others := e.formulas[s.a], arguments[:s.n], arguments[s.n:]
	for i, at := range e.list(s) {
		x := e.at(at, others)
		if math.IsNaN(x) {
			return x
		}
		own[i] = x / f.in[i]
	}
	y, err := f.Call(own)
	if err != nil {
		return math.NaN()
	}
	return finite(y * f.out)
}

// largest is the size of the largest term; one that cannot be told stood in the
// branch not taken.
func (e *evaluation) largest(terms []place, arguments []float64) float64 {
	size := 0.0
	for _, at := range terms {
		if v := math.Abs(e.at(at, arguments)); known(v) {
			size = max(size, v)
		}
	}
	return size
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

// both, either and same follow Kleene: what settles the answer settles it
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

// same is a number that is the same whichever of two it is.
func same(a, b float64) float64 {
	if a == b {
		return a
	}
	return math.NaN()
}
