package expr

import (
	"maps"
	"slices"
	"strconv"

	"github.com/expr-lang/expr/ast"

	"echotally/internal/question/questionnaire"
	"echotally/internal/spelling"
	"echotally/internal/ucum"
)

// analysis works out unit and kind of every node and appends the steps that
// compute it.
type analysis struct {
	source   string
	scope    Scope
	program  *Program
	nodes    int     // of the text being followed
	loaded   []place // where the inputs stand, in their order
	uses     []use   // aliases in order of appearance
	defined  map[string]defined
	defining []string // definitions being followed
	followed int      // definitions followed so far
}

// use is how an expression uses an alias.
type use struct {
	name    string
	needed  bool // outside a guard function
	guarded bool // asked for with present() or mentioned()
}

// defined is a definition that was followed.
type defined struct {
	typed
	follows int // definitions, with itself
}

// typed is a place with what is known of it.
type typed struct {
	at      place
	kind    Kind
	unit    ucum.Unit // in which the result is shown
	literal bool
	value   float64 // of a literal
	terms   []place // the summands, for the size of noise; nil for itself
}

func (t typed) dim() ucum.Dimension { return t.unit.Dimension() }

func (t typed) plain() bool { return t.dim() == ucum.Dimension{} }

// summands appends the terms of t.
func (t typed) summands(to []place) []place {
	switch {
	case t.literal:
		return to
	case t.terms == nil:
		return append(to, t.at)
	}
	return append(to, t.terms...)
}

// step appends one, with its list, and returns its place.
func (a *analysis) step(s step, list ...place) place {
	p := a.program
	s.from, s.n = int32(len(p.lists)), int32(len(list))
	p.lists = append(p.lists, list...)
	p.steps = append(p.steps, s)
	return place(len(p.steps) - 1)
}

func (a *analysis) node(n ast.Node) (typed, *Error) {
	if a.nodes++; a.nodes > maxNodes {
		return typed{}, a.fault(n, "expression too long", "split the rule")
	}
	switch n := n.(type) {
	case *ast.IntegerNode:
		return a.literal(n, float64(n.Value))
	case *ast.FloatNode:
		return a.literal(n, n.Value)
	case *ast.IdentifierNode:
		return a.name(n)
	case *ast.UnaryNode:
		return a.unary(n)
	case *ast.BinaryNode:
		return a.binary(n)
	case *ast.ConditionalNode:
		return a.conditional(n)
	case *ast.CallNode:
		if callee, ok := n.Callee.(*ast.IdentifierNode); ok {
			return a.call(n, callee.Value, n.Arguments)
		}
		return typed{}, a.fault(n, "this cannot be called", "")
	case *ast.BuiltinNode: // a name the library knows as well: count, min
		return a.call(n, n.Name, n.Arguments)
	case *ast.StringNode:
		return typed{}, a.fault(n, "a text may only be compared with sex or name a modifier in noted()", "")
	}
	return typed{}, a.fault(n, "this is not part of the expression language", "use arithmetic, comparison, and/or/not, and the functions of rules/README.md")
}

func (a *analysis) literal(n ast.Node, x float64) (typed, *Error) {
	if x != 0 && x != 1 && x != 2 && x != 100 {
		return typed{}, a.fault(n, "the number "+strconv.FormatFloat(x, 'g', -1, 64)+" has no origin", "write it under parameters, with unit and origin, and use its name here")
	}
	return typed{at: a.step(step{does: literal, x: x}), literal: true, value: x}, nil
}

// input returns the place of a value to be asked for.
func (a *analysis) input(in Input, kind Kind, unit ucum.Unit) typed {
	p := a.program
	if kind == Bool {
		unit = ucum.Unit{}
	}
	i := slices.Index(p.Inputs, in)
	if i < 0 {
		i = len(p.Inputs)
		p.Inputs = append(p.Inputs, in)
		a.loaded = append(a.loaded, a.step(step{does: input, a: place(i), x: unit.Size()}))
	}
	return typed{at: a.loaded[i], kind: kind, unit: unit}
}

// use notes that a name is asked of: needed unless the question has an answer
// where nothing was recorded.
func (a *analysis) use(name string, needed, guarded bool) {
	i := slices.IndexFunc(a.uses, func(u use) bool { return u.name == name })
	if i < 0 {
		i = len(a.uses)
		a.uses = append(a.uses, use{name: name})
	}
	a.uses[i].needed = a.uses[i].needed || needed
	a.uses[i].guarded = a.uses[i].guarded || guarded
}

func (a *analysis) name(n *ast.IdentifierNode) (typed, *Error) {
	switch q := questionnaire.Find(n.Value); {
	case q == nil || !q.Plain:
	case q.Name == Sex:
		return typed{}, a.fault(n, "sex can only be compared with a text", "write sex == \"F\"")
	default:
		a.use(q.Name, true, false)
		unit, _ := q.Unit()
		return a.input(Input{Name: q.Name, Question: q, Place: NoAlias}, Number, unit), nil
	}
	if d, ok := a.scope.Definitions[n.Value]; ok {
		return a.definition(n, d)
	}
	s, ok := a.scope.find(n.Value)
	if !ok {
		return typed{}, a.unknown(n, n.Value, slices.AppendSeq(a.scope.names(), maps.Keys(a.scope.Definitions)), "name")
	}
	if s.Images {
		return typed{}, a.fault(n, n.Value+" are images, not a number", "ask "+ofImages())
	}
	if s.Said {
		return typed{}, a.fault(n, n.Value+" is a statement, not a number", "ask stated("+n.Value+") or mentioned("+n.Value+")")
	}
	a.use(n.Value, true, false)
	return a.input(Input{Name: n.Value, Of: s.Of, Place: s.Place}, s.Kind, s.Unit), nil
}

// definition puts what a name stands for in its place. The text is followed
// once; each use counts all the same, for what is shown grows with each.
func (a *analysis) definition(n *ast.IdentifierNode, d Definition) (typed, *Error) {
	name := n.Value
	if slices.Contains(a.defining, name) {
		return typed{}, a.fault(n, "the definition of "+name+" leads back to itself", "")
	}
	known, again := a.defined[name]
	if a.followed += max(known.follows, 1); a.followed > maxDefinitions {
		return typed{}, a.fault(n, "too many definitions within definitions", "split the rule")
	}
	if again {
		return known.typed, nil
	}
	outer, nodes, before := a.source, a.nodes, a.followed
	a.source, a.nodes = d.text, 0
	a.defining = append(a.defining, name)
	var out typed
	fault := d.fault
	if fault == nil {
		out, fault = a.node(d.tree)
	}
	a.source, a.nodes = outer, nodes
	a.defining = a.defining[:len(a.defining)-1]
	if fault != nil {
		return out, a.fault(n, "in the definition of "+name+": "+fault.Message, fault.Hint)
	}
	if a.defined == nil {
		a.defined = map[string]defined{}
	}
	a.defined[name] = defined{out, a.followed - before + 1}
	return out, nil
}

func (a *analysis) unknown(n ast.Node, word string, known []string, what string) *Error {
	hint := "declare it under measurands, statements or parameters"
	if what == "function" {
		hint = "see rules/README.md for the functions"
	}
	if near := spelling.Nearest(word, known); near != "" {
		hint = "did you mean " + near + "?"
	}
	return a.fault(n, "unknown "+what+" "+word, hint)
}
