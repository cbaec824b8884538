// Package expr owns the expressions in rule files: expr-lang/expr locked down
// to arithmetic, comparison, logic and our functions, with units worked out on
// the parsed tree. An expression that adds mmHg to cm does not load; cm and mm
// are converted; a missing value is never compared.
//
// Everything is computed in coherent units (m, g, s, rad) as float64, and NaN
// means "cannot tell": it runs through arithmetic, comparison and logic by the
// three-valued rules of Kleene, so that a false part settles an "and" and a
// true part an "or" whatever the rest may be.
//
// The package does not know where values come from; the caller gives them by
// [Input].
package expr

import (
	"math"
	"sync"

	"github.com/expr-lang/expr/vm"

	"echotally/internal/ucum"
)

// Kind is what a name or an expression is.
type Kind int

// Kinds.
const (
	Number Kind = iota
	Bool
	Text
)

// Symbol is a name an expression may use.
type Symbol struct {
	Kind Kind
	Unit ucum.Unit // of a Number
	Set  bool      // a measurand alias: present(), count(), highest() ... may be asked of it
	Said bool      // a statement alias: stated(), mentioned() may be asked of it

	Images bool // an alias of images: present(), count(), views(), windows() may be asked of it

	Repeatable bool // a published repeatability is known: repeatability() may be asked of it
}

// Scope is what an expression may refer to. The names age and sex, and our own
// functions, are always there.
type Scope struct {
	Symbols   map[string]Symbol
	Functions map[string]Function
	Fields    []string // modifier names noted() may ask for
	// Definitions are named parts of expressions; the name stands for the text.
	Definitions map[string]string
}

// Function is a formula function with units.
type Function struct {
	Name       string
	Title      string
	Names      []string // of the parameters, as they stand in Text
	Parameters []Symbol
	Result     ucum.Unit
	Text       string // the arithmetic in words: 4 × v² + RAP
	Call       func(args []float64) (float64, error)
}

// Error is a fault in an expression, with the place in its text.
type Error struct {
	Offset  int // byte offset in the expression
	Message string
	Hint    string
}

func (e *Error) Error() string { return e.Message }

// Input is one value an expression asks for: that of a name when Function is
// empty, otherwise what the function says of the name. Noted carries the
// modifier in Detail, the patient's sex the code it is compared with.
type Input struct {
	Function, Name, Detail string
}

// String returns the input as it would stand in an expression.
func (i Input) String() string {
	switch {
	case i.Function == "":
		return i.Name
	case i.Detail != "":
		return i.Function + "(" + i.Name + ", \"" + i.Detail + "\")"
	}
	return i.Function + "(" + i.Name + ")"
}

// Names and functions every expression has.
const (
	Age = "age" // in years
	Sex = "sex" // only to be compared with a text
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
	Required []string // aliases that must have a value
	Optional []string // aliases only asked with present() and the like, or guarded by it
	Inputs   []Input  // everything asked for, in order of appearance

	factors []float64 // of each input to the coherent unit
	keys    []string
	scale   float64 // of the result to the coherent unit
	code    *vm.Program
	tree    shown
	pool    *sync.Pool
}

type machine struct {
	vm  vm.VM
	env map[string]any
}

func newPool() *sync.Pool {
	return &sync.Pool{New: func() any { return &machine{vm: vm.VM{MemoryBudget: memoryBudget}, env: map[string]any{}} }}
}

// Eval computes the expression in its Unit; NaN when it cannot be told.
func (p *Program) Eval(values Values) float64 {
	m := p.pool.Get().(*machine)
	defer p.pool.Put(m)
	for i, in := range p.Inputs {
		m.env[p.keys[i]] = values(in) * p.factors[i]
	}
	out, err := m.vm.Run(p.code, m.env)
	if err != nil {
		return math.NaN()
	}
	x, ok := out.(float64)
	if !ok || math.IsInf(x, 0) {
		return math.NaN()
	}
	return x / p.scale
}

// Holds evaluates a Bool expression.
func (p *Program) Holds(values Values) Truth {
	return truthOf(p.Eval(values))
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

// Alias returns the name when the expression is nothing but a name.
func (p *Program) Alias() (string, bool) {
	if len(p.Inputs) == 1 && p.Inputs[0].Function == "" && p.Source == p.Inputs[0].Name {
		return p.Source, true
	}
	return "", false
}
