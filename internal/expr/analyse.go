package expr

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"

	"github.com/expr-lang/expr/ast"

	"echotally/internal/datafile"
	"echotally/internal/ucum"
)

// asked lists the functions that ask something of a name instead of computing.
var asked = map[string]question{
	"present":          {of: ofSet, kind: Bool, guard: true, images: true},
	"count":            {of: ofSet, guard: true, images: true},
	"beats":            {of: ofSet},
	"views":            {of: ofSet, guard: true, images: true},
	"windows":          {of: ofSet, guard: true, images: true},
	"noted":            {of: ofSet, kind: Bool, guard: true},
	"highest":          {of: ofSet, inUnit: true},
	"lowest":           {of: ofSet, inUnit: true},
	"average":          {of: ofSet, inUnit: true},
	"last":             {of: ofSet, inUnit: true},
	"spread":           {of: ofSet, inUnit: true},
	"recorded_mean":    {of: ofSet, inUnit: true},
	"repeatability":    {of: ofSet, inUnit: true},
	"z_score":          {of: ofSet, unit: "1"},
	"stated":           {of: ofSaid, kind: Bool},
	"mentioned":        {of: ofSaid, kind: Bool, guard: true},
	"count_measurands": {of: ofNothing},
	"count_z_scores":   {of: ofNothing},

	// About the segments of the left ventricular wall.
	"count_segments":          {of: ofNothing, segments: true},
	"count_regions":           {of: ofNothing, segments: true},
	"count_scored_segments":   {of: ofNothing, segments: true},
	"count_abnormal_segments": {of: ofNothing, segments: true},
	"mean_segment_score":      {of: ofNothing, unit: "1", segments: true},

	// About the earlier study of the same person.
	"prior":         {of: ofSet, inUnit: true, prior: true},
	"prior_present": {of: ofSet, kind: Bool, guard: true, prior: true},
	"prior_days":    {of: ofNothing, unit: "d", prior: true},

	// About the image a value was taken on.
	"linked":           {of: ofSet, kind: Bool, guard: true, image: true},
	"likely_windows":   {of: ofSet, guard: true, image: true},
	"calibrated":       {of: ofSet, kind: Bool, image: true},
	"same_view":        {of: ofSet, kind: Bool, image: true},
	"same_mode":        {of: ofSet, kind: Bool, image: true},
	"scale_high":       {of: ofSet, unit: "cm/s", image: true},
	"scale_low":        {of: ofSet, unit: "cm/s", image: true},
	"colour_scale":     {of: ofSet, unit: "cm/s", image: true},
	"sweep_seconds":    {of: ofSet, unit: "s", image: true},
	"width_share":      {of: ofSet, unit: "1", image: true},
	"frame_rate":       {of: ofSet, unit: "Hz", image: true},
	"loop_beats":       {of: ofSet, unit: "1", image: true},
	"correction_angle": {of: ofSet, unit: "deg", image: true},
	"sample_depth":     {of: ofSet, unit: "cm", image: true},
	"sample_gate":      {of: ofSet, unit: "mm", image: true},
	"filter_frequency": {of: ofSet, unit: "Hz", image: true},
	"image_heart_rate": {of: ofSet, unit: "/min", image: true},
}

type question struct {
	of     int
	kind   Kind
	inUnit bool   // the answer has the unit of the name
	unit   string // UCUM code of the answer's own unit
	guard  bool   // can be answered when there is no value
	images bool   // may also be asked of images
	image  bool   // about the image a value was taken on
	prior  bool   // about the earlier study of the same person

	segments bool // about the segments of the left ventricular wall
}

// AboutImages reports whether an input asks something that only images can
// answer: of a set of images, or of the image a value was taken on.
func (s Scope) AboutImages(in Input) bool {
	return s.Symbols[in.Name].Images || asked[in.Function].image
}

// AboutPrior reports whether only an earlier study can answer an input.
func (i Input) AboutPrior() bool { return asked[i.Function].prior }

// AboutSegments reports whether an input asks how the segments of the left
// ventricular wall move.
func (i Input) AboutSegments() bool { return asked[i.Function].segments }

// UnitOf is the unit of a function's own answer, false when it has none of its
// own.
func UnitOf(function string) (ucum.Unit, bool) {
	u, err := ucum.Parse(asked[function].unit)
	return u, err == nil && asked[function].unit != ""
}

const (
	ofNothing = iota
	ofSet
	ofSaid
)

// analysis works out unit and kind of every node and builds the tree that is
// compiled.
type analysis struct {
	source   string
	scope    Scope
	program  *Program
	names    []string        // aliases in order of appearance
	needed   map[string]bool // used outside a guard function
	guarded  map[string]bool // asked for with present() or mentioned()
	formulas []string        // called
	defining []string        // definitions being followed
	followed int             // definitions followed so far
}

// typed is a node with what is known of it.
type typed struct {
	code    ast.Node
	kind    Kind
	unit    ucum.Unit // in which the result is shown
	literal bool
	value   float64    // of a literal
	terms   []ast.Node // the summands, for the size of noise
	shown   shown
}

func (t typed) dim() ucum.Dimension { return t.unit.Dimension() }

func (t typed) plain() bool { return t.dim() == ucum.Dimension{} }

func (a *analysis) node(n ast.Node) (typed, *Error) {
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
		return a.call(n)
	case *ast.StringNode:
		return typed{}, a.fault(n, "a text may only be compared with sex or name a modifier in noted()", "")
	}
	return typed{}, a.fault(n, "this is not part of the expression language", "use arithmetic, comparison, and/or/not, and the functions of rules/README.md")
}

func (a *analysis) literal(n ast.Node, x float64) (typed, *Error) {
	if x != 0 && x != 1 && x != 2 && x != 100 {
		return typed{}, a.fault(n, "the number "+strconv.FormatFloat(x, 'g', -1, 64)+" has no origin", "write it under parameters, with unit and origin, and use its name here")
	}
	return typed{code: &ast.FloatNode{Value: x}, literal: true, value: x, shown: shown{text: strconv.FormatFloat(x, 'g', -1, 64), rank: rankAtom}}, nil
}

// input registers a value to be asked for and returns the node that loads it.
func (a *analysis) input(in Input, kind Kind, unit ucum.Unit) typed {
	p := a.program
	key := "$" + in.String()
	if !slices.Contains(p.keys, key) {
		factor := 1.0
		if kind == Number {
			factor = coherentFactor(unit)
		}
		p.Inputs, p.keys, p.factors = append(p.Inputs, in), append(p.keys, key), append(p.factors, factor)
	}
	if kind == Bool {
		unit = ucum.Unit{}
	}
	code := &ast.IdentifierNode{Value: key}
	return typed{code: code, kind: kind, unit: unit, terms: []ast.Node{code}, shown: shown{input: &in, rank: rankAtom}}
}

func (a *analysis) uses(name string, guard bool) {
	if !slices.Contains(a.names, name) {
		a.names = append(a.names, name)
	}
	if !guard {
		a.needed[name] = true
	}
}

func (a *analysis) name(n *ast.IdentifierNode) (typed, *Error) {
	switch n.Value {
	case Age:
		a.uses(Age, false)
		year, _ := ucum.Parse("a")
		return a.input(Input{Name: Age}, Number, year), nil
	case Sex:
		return typed{}, a.fault(n, "sex can only be compared with a text", "write sex == \"F\"")
	}
	if text, ok := a.scope.Definitions[n.Value]; ok {
		return a.defined(n, text)
	}
	s, ok := a.scope.Symbols[n.Value]
	if !ok {
		known := slices.AppendSeq(slices.Collect(maps.Keys(a.scope.Symbols)), maps.Keys(a.scope.Definitions))
		return typed{}, a.unknown(n, n.Value, known, "name")
	}
	if s.Images {
		return typed{}, a.fault(n, n.Value+" are images, not a number", "ask present("+n.Value+"), count(), views() or windows()")
	}
	if s.Said {
		return typed{}, a.fault(n, n.Value+" is a statement, not a number", "ask stated("+n.Value+") or mentioned("+n.Value+")")
	}
	a.uses(n.Value, false)
	return a.input(Input{Name: n.Value}, s.Kind, s.Unit), nil
}

// defined puts the text of a definition in the place of its name.
func (a *analysis) defined(n *ast.IdentifierNode, text string) (typed, *Error) {
	a.followed++
	if slices.Contains(a.defining, n.Value) {
		return typed{}, a.fault(n, "the definition of "+n.Value+" leads back to itself", "")
	}
	if a.followed > maxDefinitions {
		return typed{}, a.fault(n, "too many definitions within definitions", "split the rule")
	}
	outer := a.source
	a.source = text
	a.defining = append(a.defining, n.Value)
	tree, err := a.parse()
	var out typed
	var fault *Error
	if err == nil {
		out, fault = a.node(tree.Node)
	}
	a.source = outer
	a.defining = a.defining[:len(a.defining)-1]
	switch {
	case err != nil:
		return out, a.fault(n, "in the definition of "+n.Value+": "+err.Error(), "")
	case fault != nil:
		return out, a.fault(n, "in the definition of "+n.Value+": "+fault.Message, fault.Hint)
	}
	return out, nil
}

func (a *analysis) unknown(n ast.Node, word string, known []string, what string) *Error {
	hint := "declare it under measurands, statements or parameters"
	if what == "function" {
		hint = "see rules/README.md for the functions"
	}
	if near := datafile.Nearest(word, known); near != "" {
		hint = "did you mean " + near + "?"
	}
	return a.fault(n, "unknown "+what+" "+word, hint)
}

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
		return typed{code: call(fnNot, x.code), kind: Bool, shown: shown{text: "not ", args: []shown{x.shown}, rank: rankNot, tight: true}}, nil
	case "-", "+":
		if x.kind != Number {
			return x, a.fault(n, "a sign needs a number", "")
		}
		if n.Operator == "-" {
			x.code, x.value = &ast.UnaryNode{Operator: "-", Node: x.code}, -x.value
			x.shown = shown{text: "−", args: []shown{x.shown}, rank: rankProduct}
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
	switch n.Operator {
	case "and", "&&":
		return a.logic(n, fnAnd, "and", rankAnd, l, r)
	case "or", "||":
		return a.logic(n, fnOr, "or", rankOr, l, r)
	case "==", "!=", "<", "<=", ">", ">=":
		return a.comparison(n, l, r)
	}
	if l.kind != Number || r.kind != Number {
		return l, a.fault(n, "operator "+n.Operator+" needs numbers on both sides", "")
	}
	switch n.Operator {
	case "+", "-":
		return a.sum(n, l, r)
	case "*":
		code := &ast.BinaryNode{Operator: "*", Left: l.code, Right: r.code}
		return typed{code: code, unit: productUnit(l, r), terms: []ast.Node{code}, shown: infix(" × ", rankProduct, l, r)}, nil
	case "/":
		code := call(fnDivide, l.code, r.code)
		return typed{code: code, unit: quotientUnit(l, r), terms: []ast.Node{code}, shown: infix(" / ", rankProduct, l, r)}, nil
	case "**", "^":
		return a.power(n, l, r)
	}
	return l, a.fault(n, "operator "+n.Operator+" is not allowed", "use + - * / ** < <= > >= == != and or not")
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
	a.uses(Sex, false)
	out := a.input(Input{Function: Sex, Name: Sex, Detail: code.Value}, Bool, ucum.Unit{})
	out.shown = shown{text: "sex is " + code.Value, rank: rankAtom}
	if n.Operator == "!=" {
		out.code, out.shown.text = call(fnNot, out.code), "sex is not "+code.Value
	}
	return out, true, nil
}

func (a *analysis) logic(n ast.Node, function, word string, rank int, l, r typed) (typed, *Error) {
	if l.kind != Bool || r.kind != Bool {
		return l, a.fault(n, word+" needs something true or false on both sides", "")
	}
	return typed{code: call(function, l.code, r.code), kind: Bool, shown: infix(" "+word+" ", rank, l, r)}, nil
}

func (a *analysis) comparison(n *ast.BinaryNode, l, r typed) (typed, *Error) {
	if l.kind != r.kind {
		return l, a.fault(n, "the two sides of "+n.Operator+" are not of one kind", "")
	}
	if l.kind == Bool && n.Operator != "==" && n.Operator != "!=" {
		return l, a.fault(n, "true and false have no order", "")
	}
	if err := a.alike(n, "compare", l, r); err != nil {
		return l, err
	}
	code := call(n.Operator, slices.Concat([]ast.Node{l.code, r.code}, l.terms, r.terms)...)
	return typed{code: code, kind: Bool, shown: infix(" "+comparisonSigns[n.Operator]+" ", rankComparison, l, r)}, nil
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
		if pair[0].literal && !oneMinus && coherentFactor(pair[1].unit) != 1 {
			return a.fault(n, fmt.Sprintf("a bare number beside a quantity in %s", pair[1].unit.Code()), "write the number under parameters, with its unit")
		}
	}
	return nil
}

func (a *analysis) sum(n *ast.BinaryNode, l, r typed) (typed, *Error) {
	verb := map[string]string{"+": "add", "-": "subtract"}[n.Operator]
	if err := a.alike(n, verb, l, r); err != nil {
		return l, err
	}
	out := typed{code: &ast.BinaryNode{Operator: n.Operator, Left: l.code, Right: r.code}, unit: sharedUnit(l, r), terms: slices.Concat(l.terms, r.terms)}
	out.shown = infix(map[string]string{"+": " + ", "-": " − "}[n.Operator], rankSum, l, r)
	return out, nil
}

func (a *analysis) power(n *ast.BinaryNode, l, r typed) (typed, *Error) {
	if !r.plain() {
		return l, a.fault(n, "an exponent has no unit", "")
	}
	code := call(fnPower, l.code, r.code)
	out := typed{code: code, unit: l.unit, terms: []ast.Node{code}, shown: powerShown(l, r)}
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
	out := typed{code: call(fnChoose, c.code, x.code, y.code), kind: x.kind, unit: sharedUnit(x, y), terms: slices.Concat(x.terms, y.terms)}
	out.shown = shown{args: []shown{c.shown, x.shown, y.shown}, text: "?", rank: rankChoice}
	return out, nil
}

func call(function string, args ...ast.Node) ast.Node {
	return &ast.CallNode{Callee: &ast.IdentifierNode{Value: function}, Arguments: args}
}
