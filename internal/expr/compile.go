package expr

import (
	"errors"
	"iter"
	"maps"
	"slices"
	"strings"

	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/builtin"
	"github.com/expr-lang/expr/checker"
	"github.com/expr-lang/expr/compiler"
	"github.com/expr-lang/expr/conf"
	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/parser"
)

// Bounds on one expression. No loop can be written, so the bound on nodes is
// also a bound on time.
const (
	maxLength    = 2000
	maxNodes     = 400
	memoryBudget = 10_000

	maxDefinitions = 1000 // followed in one expression
)

// Compile parses and checks; the error is an *Error.
func Compile(source string, scope Scope) (*Program, error) {
	if strings.TrimSpace(source) == "" {
		return nil, &Error{Message: "empty expression"}
	}
	if len(source) > maxLength {
		return nil, &Error{Message: "expression too long", Hint: "split the rule"}
	}
	a := &analysis{source: source, scope: scope, program: &Program{Source: source, pool: newPool()}, guarded: map[string]bool{}, needed: map[string]bool{}}
	tree, err := a.parse()
	if err != nil {
		return nil, err
	}
	root, fault := a.node(tree.Node)
	if fault != nil {
		return nil, fault
	}
	if root.kind == Text {
		return nil, a.fault(tree.Node, "a text is no result", "compare it: sex == \"F\"")
	}
	p := a.program
	p.Kind, p.Unit, p.tree = root.kind, root.unit, root.shown
	p.scale = coherentFactor(p.Unit)
	for _, name := range a.names {
		if a.needed[name] && !a.guarded[name] {
			p.Required = append(p.Required, name)
		} else {
			p.Optional = append(p.Optional, name)
		}
	}
	tree.Node = root.code
	config := a.config(true)
	if _, err := checker.Check(tree, config); err != nil {
		return nil, &Error{Message: firstLine(err.Error())}
	}
	if p.code, err = compiler.Compile(tree, config); err != nil {
		return nil, &Error{Message: firstLine(err.Error())}
	}
	return p, nil
}

// parse uses the library's parser with none of its built-ins.
func (a *analysis) parse() (*parser.Tree, error) {
	tree, err := parser.ParseWithConfig(a.source, a.config(false))
	if err == nil {
		return tree, nil
	}
	var located *file.Error
	if errors.As(err, &located) {
		hint := ""
		if strings.Contains(located.Message, "\"=\"") || strings.Contains(located.Message, "Operator(\"=\")") {
			hint = "equality is written =="
		}
		return nil, &Error{Offset: byteOffset(a.source, located.From), Message: firstLine(located.Message), Hint: hint}
	}
	return nil, &Error{Message: firstLine(err.Error())}
}

// config locks the library down: no built-ins, only our functions, a bound on
// nodes. For parsing the functions are names only; they must be known because
// the parser gives some of them (count) a meaning of its own otherwise. For
// compiling only those the tree calls are there, and never one of the asked.
func (a *analysis) config(compiled bool) *conf.Config {
	c := conf.New(map[string]any{})
	c.Strict = false
	c.MaxNodes = maxNodes
	c.Optimize = false
	clear(c.Builtins)
	own := total()
	if compiled {
		c.MaxNodes = 0 // our tree is larger than the one that was counted
		for name, f := range own {
			c.Functions[name] = native(name, f)
		}
		for _, name := range a.formulas {
			c.Functions[name] = native(name, formula(a.scope.Functions[name]))
		}
		return c
	}
	for _, names := range []iter.Seq[string]{maps.Keys(own), maps.Keys(asked), maps.Keys(a.scope.Functions)} {
		for name := range names {
			if strings.Contains(a.source, name) {
				c.Functions[name] = &builtin.Function{Name: name}
			}
		}
	}
	return c
}

func (a *analysis) fault(n ast.Node, message, hint string) *Error {
	return &Error{Offset: byteOffset(a.source, n.Location().From), Message: message, Hint: hint}
}

// byteOffset turns the library's place, counted in runes, into bytes.
func byteOffset(s string, runes int) int {
	for i := range s {
		if runes == 0 {
			return i
		}
		runes--
	}
	return len(s)
}

func firstLine(s string) string {
	line, _, _ := strings.Cut(s, "\n")
	return line
}

// Reserved reports whether a name already means something in expressions and
// so cannot be an alias or a parameter.
func Reserved(name string) bool {
	words := []string{Age, Sex, "and", "or", "not", "in", "let", "if", "else", "true", "false", "nil", "matches", "contains"}
	_, ours := asked[name]
	_, function := total()[name]
	return ours || function || slices.Contains(words, name)
}
