package expr

import (
	"fmt"
	"math"

	"github.com/expr-lang/expr/ast"

	"echotally/internal/question/questionnaire"
	"echotally/internal/ucum"
)

func (a *analysis) unary(n *ast.UnaryNode) (typed, *Error) {
	x, err := a.node(n.Node)
	if err != nil {
		return x, err
	}
	switch n.Operator {
	case "not", "!":
		if x.kind != Bool {
			return x, a.fault(n, "not needs something true or false", "")
		}
		return typed{at: a.step(step{does: not, a: x.at}), kind: Bool}, nil
	case "-", "+":
		if x.kind != Number {
			return x, a.fault(n, "a sign needs a number", "")
		}
		if n.Operator == "-" {
			x.terms = x.summands(nil)
			x.at, x.value = a.step(step{does: negate, a: x.at}), -x.value
		}
		return x, nil
	}
	return x, a.fault(n, "operator "+n.Operator+" is not allowed", "")
}

func (a *analysis) binary(n *ast.BinaryNode) (typed, *Error) {
	if out, ok, err := a.sexCompared(n); ok {
		return out, err
	}
	l, err := a.node(n.Left)
	if err != nil {
		return l, err
	}
	r, err := a.node(n.Right)
	if err != nil {
		return r, err
	}
	does, known := operators[n.Operator]
	switch {
	case does == and || does == or:
		return a.logic(n, does, l, r)
	case forms[does].rank == rankComparison:
		return a.comparison(n, does, l, r)
	case l.kind != Number || r.kind != Number:
		return l, a.fault(n, "operator "+n.Operator+" needs numbers on both sides", "")
	case !known:
		return l, a.fault(n, "operator "+n.Operator+" is not allowed", "use + - * / ** < <= > >= == != and or not")
	case does == add:
		return a.sum(n, does, "add", l, r)
	case does == subtract:
		return a.sum(n, does, "subtract", l, r)
	case does == power:
		return a.power(n, l, r)
	}
	unit := quotientUnit
	if does == multiply {
		unit = productUnit
	}
	return typed{at: a.step(step{does: does, a: l.at, b: r.at}), unit: unit(l, r)}, nil
}

// sexCompared reads sex == "F" and sex != "F".
func (a *analysis) sexCompared(n *ast.BinaryNode) (typed, bool, *Error) {
	name, ok := n.Left.(*ast.IdentifierNode)
	if !ok || name.Value != Sex || n.Operator != "==" && n.Operator != "!=" {
		return typed{}, false, nil
	}
	code, ok := n.Right.(*ast.StringNode)
	if !ok || code.Value != "M" && code.Value != "F" && code.Value != "O" {
		return typed{}, true, a.fault(n.Right, "sex is compared with \"M\", \"F\" or \"O\"", "")
	}
	a.use(Sex, true, false)
	out := a.input(Input{Name: Sex, Detail: code.Value, Question: questionnaire.Find(Sex)}, Bool, ucum.Unit{})
	if n.Operator == "!=" {
		out.at = a.step(step{does: not, a: out.at})
	}
	return out, true, nil
}

func (a *analysis) logic(n *ast.BinaryNode, does operation, l, r typed) (typed, *Error) {
	if l.kind != Bool || r.kind != Bool {
		word := map[operation]string{and: "and", or: "or"}[does]
		return l, a.fault(n, word+" needs something true or false on both sides", "")
	}
	return typed{at: a.step(step{does: does, a: l.at, b: r.at}), kind: Bool}, nil
}

func (a *analysis) comparison(n *ast.BinaryNode, does operation, l, r typed) (typed, *Error) {
	if l.kind != r.kind {
		return l, a.fault(n, "the two sides of "+n.Operator+" are not of one kind", "")
	}
	if l.kind == Bool && does != equal && does != unequal {
		return l, a.fault(n, "true and false have no order", "")
	}
	if err := a.alike(n, "compare", l, r); err != nil {
		return l, err
	}
	var terms []place
	for _, side := range []typed{l, r} {
		if side.terms != nil {
			terms = side.summands(terms)
		}
	}
	return typed{at: a.step(step{does: does, a: l.at, b: r.at}, terms...), kind: Bool}, nil
}

// alike refuses numbers of different dimension. Zero fits every dimension; a
// bare 1, 2 or 100 beside a percentage is refused because it would silently
// mean 100, 200 or 10000 %.
func (a *analysis) alike(n ast.Node, verb string, l, r typed) *Error {
	if l.kind != Number || l.literal && l.value == 0 || r.literal && r.value == 0 {
		return nil
	}
	if l.dim() != r.dim() {
		return a.fault(n, fmt.Sprintf("cannot %s %s and %s", verb, l.unit.Code(), r.unit.Code()), "both sides must measure the same kind of quantity")
	}
	for _, pair := range [][2]typed{{l, r}, {r, l}} {
		oneMinus := verb != "compare" && math.Abs(pair[0].value) == 1
		if pair[0].literal && !oneMinus && pair[1].unit.Size() != 1 {
			return a.fault(n, fmt.Sprintf("a bare number beside a quantity in %s", pair[1].unit.Code()), "write the number under parameters, with its unit")
		}
	}
	return nil
}

func (a *analysis) sum(n *ast.BinaryNode, does operation, verb string, l, r typed) (typed, *Error) {
	if err := a.alike(n, verb, l, r); err != nil {
		return l, err
	}
	return typed{at: a.step(step{does: does, a: l.at, b: r.at}), unit: sharedUnit(l, r), terms: r.summands(l.summands([]place{}))}, nil
}

func (a *analysis) power(n *ast.BinaryNode, l, r typed) (typed, *Error) {
	if !r.plain() {
		return l, a.fault(n, "an exponent has no unit", "")
	}
	out := typed{at: a.step(step{does: power, a: l.at, b: r.at}), unit: l.unit}
	if l.plain() {
		out.unit = ucum.Unit{}
		return out, nil
	}
	if !r.literal {
		return l, a.fault(n, "a quantity in "+l.unit.Code()+" can only be raised to 1 or 2", "use a formula function for other exponents")
	}
	out.unit = l.unit.Pow(int(r.value))
	return out, nil
}

func (a *analysis) conditional(n *ast.ConditionalNode) (typed, *Error) {
	c, err := a.node(n.Cond)
	if err != nil {
		return c, err
	}
	x, err := a.node(n.Exp1)
	if err != nil {
		return x, err
	}
	y, err := a.node(n.Exp2)
	if err != nil {
		return y, err
	}
	if c.kind != Bool {
		return c, a.fault(n.Cond, "the part before ? must be true or false", "")
	}
	if x.kind != y.kind {
		return x, a.fault(n, "the two branches are not of one kind", "")
	}
	if err := a.alike(n, "choose between", x, y); err != nil {
		return x, err
	}
	out := typed{at: a.step(step{does: choose, a: c.at, b: x.at, c: y.at}), kind: x.kind, unit: sharedUnit(x, y)}
	out.terms = y.summands(x.summands([]place{}))
	return out, nil
}
