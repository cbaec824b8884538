// Package expr owns the expressions in rule files: the syntax of expr-lang/expr
// locked down to arithmetic, comparison, logic and our functions, with units
// worked out on the parsed tree, compiled to steps on numbers. An expression
// that adds mmHg to cm does not load; cm and mm are converted; a missing value
// is never compared.
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
	"echotally/internal/question"
	"echotally/internal/question/questionnaire"
	"echotally/internal/ucum"
)

// Kind is what a name or an expression is.
type Kind int

// Kinds.
const (
	Number Kind = iota
	Bool
)

// Symbol is a name an expression may use.
type Symbol struct {
	Kind  Kind
	Unit  ucum.Unit // of a Number
	Set   bool      // a measurand alias: present(), count(), highest() ... may be asked of it
	Place int       // see Input
	Said  bool      // a statement alias: stated(), mentioned() may be asked of it
	Of    any       // what the name stands for, handed on to its inputs as it is; nil where that is looked up by the name

	Images bool // an alias of images: present(), count(), views(), windows() may be asked of it

	Repeatable bool // a published repeatability is known: repeatability() may be asked of it
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

// Input is one value an expression asks for: that of a name when Question is
// nil, otherwise the answer of what the name stands for. Noted carries the
// modifier in Detail, the patient's sex the code it is compared with.
type Input struct {
	Question     *question.Question
	Place        int // the symbol's: of an alias among those of its rule, from 1; NoAlias for what is none, 0 where it is to be looked up
	Of           any // the symbol's
	Name, Detail string
}

// NoAlias is the place of what is no alias of a measurand.
const NoAlias = -1

// String returns the input as it would stand in an expression.
func (i Input) String() string {
	q := i.Question
	switch {
	case q == nil || q.Plain && i.Detail == "":
		return i.Name
	case q.Plain:
		return i.Name + " == \"" + i.Detail + "\""
	case i.Detail != "":
		return q.Name + "(" + i.Name + ", \"" + i.Detail + "\")"
	}
	return q.Name + "(" + i.Name + ")"
}

// AboutPrior reports whether only an earlier study can answer an input.
func (i Input) AboutPrior() bool { return i.from(question.EarlierStudy) }

// AboutSegments reports whether an input asks how the segments of the left
// ventricular wall move.
func (i Input) AboutSegments() bool { return i.from(question.Wall) }

// AboutAnyValue reports whether any value of the report may answer an input, whatever
// it is of.
func (i Input) AboutAnyValue() bool { return i.from(question.AnyValue) }

func (i Input) from(s question.Source) bool { return i.Question != nil && i.Question.From == s }

// Names every expression has.
const (
	Age = questionnaire.Age // in years
	Sex = questionnaire.Sex // only to be compared with a text
)
