package expr

import (
	"fmt"
	"maps"
	"slices"

	"github.com/expr-lang/expr/ast"

	"echotally/internal/ucum"
)

func (a *analysis) call(n *ast.CallNode) (typed, *Error) {
	callee, ok := n.Callee.(*ast.IdentifierNode)
	if !ok {
		return typed{}, a.fault(n, "this cannot be called", "")
	}
	if q, ok := asked[callee.Value]; ok {
		return a.question(n, callee.Value, q)
	}
	want, words := Number, " takes numbers"
	if callee.Value == "tally" {
		want, words = Bool, " takes what is true or false"
	}
	args := make([]typed, len(n.Arguments))
	for i, arg := range n.Arguments {
		x, err := a.node(arg)
		if err != nil {
			return x, err
		}
		if x.kind != want {
			return x, a.fault(arg, callee.Value+words, "")
		}
		args[i] = x
	}
	if f, ok := a.scope.Functions[callee.Value]; ok {
		return a.formula(n, f, args)
	}
	return a.computed(n, callee.Value, args)
}

// arity is how many arguments a computing function takes.
var arity = map[string]struct {
	least, most int
	words       string
}{
	"abs":     {1, 1, "one number"},
	"sqrt":    {1, 1, "one number"},
	"min":     {2, 99, "two or more numbers; among the values of one measurand use lowest()"},
	"max":     {2, 99, "two or more numbers; among the values of one measurand use highest()"},
	"between": {3, 3, "a number, the low and the high limit"},
	"tier":    {2, 99, "a number and the limits it may reach"},
	"tally":   {2, 99, "two or more conditions"},
}

// computed reads a call of one of our own functions.
func (a *analysis) computed(n *ast.CallNode, function string, args []typed) (typed, *Error) {
	takes, ok := arity[function]
	if !ok {
		known := slices.Concat(slices.Collect(maps.Keys(asked)), slices.Collect(maps.Keys(a.scope.Functions)), slices.Collect(maps.Keys(arity)))
		return typed{}, a.unknown(n.Callee, function, known, "function")
	}
	if len(args) < takes.least || len(args) > takes.most {
		return typed{}, a.fault(n, function+" takes "+takes.words, "")
	}
	if function == "abs" || function == "sqrt" {
		return a.single(n, function, args[0])
	}
	out, err := a.several(n, function, args)
	switch function {
	case "between":
		out.kind, out.unit, out.terms = Bool, ucum.Unit{}, nil
	case "tier", "tally":
		out.unit, out.terms = ucum.Unit{}, []ast.Node{out.code}
	}
	return out, err
}

// question reads present(x) and the other functions that ask something of a
// name.
func (a *analysis) question(n *ast.CallNode, function string, q question) (typed, *Error) {
	in := Input{Function: function}
	want := map[int]int{ofNothing: 0, ofSet: 1, ofSaid: 1}[q.of]
	if function == "noted" {
		want = 2
	}
	if len(n.Arguments) != want {
		return typed{}, a.fault(n, fmt.Sprintf("%s takes %d names, got %d", function, want, len(n.Arguments)), "")
	}
	unit, _ := UnitOf(function)
	if want > 0 {
		s, err := a.subjectOf(n, function, q)
		if err != nil {
			return typed{}, err
		}
		in.Name = n.Arguments[0].(*ast.IdentifierNode).Value
		a.uses(in.Name, q.guard)
		if function == "present" || function == "mentioned" {
			a.guarded[in.Name] = true
		}
		if q.inUnit {
			unit = s.Unit
		}
	}
	if want > 1 {
		field, ok := n.Arguments[1].(*ast.StringNode)
		if !ok {
			return typed{}, a.fault(n.Arguments[1], "the modifier is given as a text", "noted("+in.Name+", \"imageView\")")
		}
		if !slices.Contains(a.scope.Fields, field.Value) {
			return typed{}, a.unknown(field, field.Value, a.scope.Fields, "modifier")
		}
		in.Detail = field.Value
	}
	return a.input(in, q.kind, unit), nil
}

func (a *analysis) subjectOf(n *ast.CallNode, function string, q question) (Symbol, *Error) {
	arg, ok := n.Arguments[0].(*ast.IdentifierNode)
	if !ok {
		return Symbol{}, a.fault(n.Arguments[0], function+" is asked of a name", "")
	}
	s, ok := a.scope.Symbols[arg.Value]
	switch {
	case !ok:
		return s, a.unknown(arg, arg.Value, slices.Collect(maps.Keys(a.scope.Symbols)), "name")
	case s.Images && q.images:
	case s.Images:
		return s, a.fault(arg, function+" is asked of a measurand, "+arg.Value+" are images", "of images ask present(), count(), views() or windows()")
	case q.of == ofSet && !s.Set:
		return s, a.fault(arg, function+" is asked of a measurand, "+arg.Value+" is none", "")
	case function == "repeatability" && !s.Repeatable:
		return s, a.fault(arg, "no repeatability is known for "+arg.Value, "give the measurand its published repeatability, or use a parameter with its source")
	case q.of == ofSaid && !s.Said:
		return s, a.fault(arg, function+" is asked of a statement, "+arg.Value+" is none", "")
	}
	return s, nil
}

func (a *analysis) formula(n *ast.CallNode, f Function, args []typed) (typed, *Error) {
	if len(args) != len(f.Parameters) {
		return typed{}, a.fault(n, fmt.Sprintf("%s takes %d values, got %d", f.Name, len(f.Parameters), len(args)), "")
	}
	nodes := make([]ast.Node, len(args))
	parts := make([]shown, len(args))
	for i, x := range args {
		want := f.Parameters[i].Unit
		if x.dim() != want.Dimension() {
			return x, a.fault(n.Arguments[i], fmt.Sprintf("%s wants %s here, this is %s", f.Name, want.Code(), x.unit.Code()), "")
		}
		nodes[i], parts[i] = x.code, x.shown
	}
	if !slices.Contains(a.formulas, f.Name) {
		a.formulas = append(a.formulas, f.Name)
	}
	code := call(f.Name, nodes...)
	return typed{code: code, unit: f.Result, terms: []ast.Node{code}, shown: shown{formula: &f, args: parts, rank: rankSum}}, nil
}

func (a *analysis) single(n ast.Node, function string, x typed) (typed, *Error) {
	out := typed{code: call(function, x.code), unit: x.unit, terms: x.terms, shown: shown{text: function, args: []shown{x.shown}, rank: rankCall}}
	if function == "abs" {
		return out, nil
	}
	half, ok := halved(x.dim())
	if !ok {
		return x, a.fault(n, "the square root of "+x.unit.Code()+" is no quantity", "")
	}
	out.unit, out.terms = coherent(half), []ast.Node{out.code}
	return out, nil
}

func (a *analysis) several(n ast.Node, function string, args []typed) (typed, *Error) {
	out := typed{unit: args[0].unit, shown: shown{text: function, rank: rankCall}}
	var nodes []ast.Node
	for _, x := range args {
		if err := a.alike(n, "compare", args[0], x); err != nil {
			return out, err
		}
		out.unit = sharedUnit(out, x)
		nodes = append(nodes, x.code)
		out.terms = append(out.terms, x.terms...)
		out.shown.args = append(out.shown.args, x.shown)
	}
	out.code = call(function, nodes...)
	return out, nil
}
