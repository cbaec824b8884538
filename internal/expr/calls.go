package expr

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/expr-lang/expr/ast"

	"echotally/internal/question"
	"echotally/internal/question/questionnaire"
)

// call reads a question, a formula or one of our functions.
func (a *analysis) call(n ast.Node, name string, arguments []ast.Node) (typed, *Error) {
	if q := questionnaire.Find(name); q != nil && !q.Plain {
		return a.question(n, q, arguments)
	}
	takes, computes := functions[name]
	formula, isFormula := a.scope.Functions[name]
	if !computes && !isFormula {
		known := slices.AppendSeq(slices.Collect(maps.Keys(a.scope.Functions)), maps.Keys(functions))
		for _, q := range questionnaire.All() {
			known = append(known, q.Name)
		}
		return typed{}, a.unknown(n, name, known, "function")
	}
	args := make([]typed, len(arguments))
	for i, arg := range arguments {
		x, err := a.node(arg)
		switch {
		case err != nil:
			return x, err
		case x.kind != takes.of && takes.of == Bool:
			return x, a.fault(arg, name+" takes what is true or false", "")
		case x.kind != takes.of:
			return x, a.fault(arg, name+" takes numbers", "")
		}
		args[i] = x
	}
	if isFormula {
		return a.formula(n, formula, args, arguments)
	}
	if len(args) < takes.least || len(args) > takes.most {
		return typed{}, a.fault(n, name+" takes "+takes.takes, "")
	}
	return a.computed(n, takes.does, args)
}

// computed reads a call of one of our own functions.
func (a *analysis) computed(n ast.Node, does operation, args []typed) (typed, *Error) {
	out := args[0] // a bare 0 has no unit to give
	out.terms = []place{}
	operands := make([]place, len(args))
	for i, x := range args {
		if err := a.alike(n, "compare", args[0], x); err != nil {
			return out, err
		}
		out.unit, out.literal = sharedUnit(out, x), out.literal && x.literal
		operands[i] = x.at
		out.terms = x.summands(out.terms)
	}
	out.at, out.kind, out.literal = a.step(step{does: does}, operands...), Number, false
	switch does {
	case between:
		return typed{at: out.at, kind: Bool}, nil
	case tier, tally:
		return typed{at: out.at}, nil
	case squareRoot:
		half, ok := halved(args[0].dim())
		if !ok {
			return out, a.fault(n, "the square root of "+out.unit.Code()+" is no quantity", "")
		}
		return typed{at: out.at, unit: coherent(half)}, nil
	}
	return out, nil
}

// question reads present(x) and the other functions that ask something of a
// name.
func (a *analysis) question(n ast.Node, q *question.Question, arguments []ast.Node) (typed, *Error) {
	in := Input{Question: q, Place: NoAlias}
	if len(arguments) != q.Names() {
		return typed{}, a.fault(n, fmt.Sprintf("%s takes %d names, got %d", q.Name, q.Names(), len(arguments)), "")
	}
	unit, own := q.Unit()
	if len(arguments) > 0 {
		s, err := a.subjectOf(arguments[0], q)
		if err != nil {
			return typed{}, err
		}
		in.Name, in.Of, in.Place = arguments[0].(*ast.IdentifierNode).Value, s.Of, s.Place
		a.use(in.Name, q.Guard == question.NeedsValue, q.Tests)
		if !own {
			unit = s.Unit
		}
	}
	if len(arguments) > 1 {
		field, ok := arguments[1].(*ast.StringNode)
		if !ok {
			return typed{}, a.fault(arguments[1], "the modifier is given as a text", fmt.Sprintf("%s(%s, %q)", q.Name, in.Name, q.Detail))
		}
		if known := a.scope.Fields(); !slices.Contains(known, field.Value) {
			return typed{}, a.unknown(field, field.Value, known, "modifier")
		}
		in.Detail = field.Value
	}
	if q.Truth {
		return a.input(in, Bool, unit), nil
	}
	return a.input(in, Number, unit), nil
}

func (a *analysis) subjectOf(argument ast.Node, q *question.Question) (Symbol, *Error) {
	arg, ok := argument.(*ast.IdentifierNode)
	if !ok {
		return Symbol{}, a.fault(argument, q.Name+" is asked of a name", "")
	}
	s, ok := a.scope.find(arg.Value)
	switch {
	case !ok:
		return s, a.unknown(arg, arg.Value, a.scope.names(), "name")
	case s.Images && q.AskedOf(question.SeveralImages):
	case s.Images:
		return s, a.fault(arg, q.Name+" is not asked of images, and "+arg.Value+" are images", "of images ask "+ofImages())
	case q.AskedOf(question.AMeasurand) && !s.Set:
		return s, a.fault(arg, q.Name+" is asked of a measurand, "+arg.Value+" is none", "")
	case q.Repeatability && !s.Repeatable:
		return s, a.fault(arg, "no repeatability is known for "+arg.Value, "give the measurand its published repeatability, or use a parameter with its source")
	case q.AskedOf(question.AStatement) && !s.Said:
		return s, a.fault(arg, q.Name+" is asked of a statement, "+arg.Value+" is none", "")
	}
	return s, nil
}

// ofImages names what can be asked of images.
func ofImages() string {
	return strings.Join(questionnaire.Asked(question.SeveralImages), "(), ") + "()"
}

func (a *analysis) formula(n ast.Node, f Function, args []typed, arguments []ast.Node) (typed, *Error) {
	if len(args) != len(f.Parameters) {
		return typed{}, a.fault(n, fmt.Sprintf("%s takes %d values, got %d", f.Name, len(f.Parameters), len(args)), "")
	}
	ready := &formula{Function: f, in: make([]float64, len(args)), out: f.Result.Size()}
	operands := make([]place, len(args))
	for i, x := range args {
		want := f.Parameters[i].Unit
		if x.dim() != want.Dimension() {
			return x, a.fault(arguments[i], fmt.Sprintf("%s wants %s here, this is %s", f.Name, want.Code(), x.unit.Code()), "")
		}
		operands[i], ready.in[i] = x.at, want.Size()
	}
	p := a.program
	p.formulas = append(p.formulas, ready)
	return typed{at: a.step(step{does: call, a: place(len(p.formulas) - 1)}, operands...), unit: f.Result}, nil
}
