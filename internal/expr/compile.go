package expr

import (
	"errors"
	"slices"
	"strings"

	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/parser"

	"echotally/internal/question/questionnaire"
)

// Bounds on one expression. No loop can be written, so the bound on nodes is
// also a bound on time.
const (
	maxLength = 2000
	maxNodes  = 400

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
	a := &analysis{source: source, scope: scope, program: &Program{Source: source}}
	tree, fault := scope.Trees.parse(source)
	if fault != nil {
		return nil, fault
	}
	root, fault := a.node(tree)
	if fault != nil {
		return nil, fault
	}
	p := a.program
	p.Kind, p.Unit, p.result, p.scale = root.kind, root.unit, root.at, root.unit.Size()
	for _, u := range a.uses {
		if u.needed && !u.guarded {
			p.Required = append(p.Required, u.name)
		}
	}
	p.prepare()
	return p, nil
}

// parse uses the library's parser; what its language has beyond ours is refused
// by the analysis.
func parse(source string) (ast.Node, *Error) {
	tree, err := parser.ParseWithConfig(source, nil)
	if err == nil {
		return tree.Node, nil
	}
	var located *file.Error
	if errors.As(err, &located) {
		message, hint := firstLine(located.Message), ""
		switch {
		case strings.Contains(message, "\"=\"") || strings.Contains(message, "Operator(\"=\")"):
			hint = "equality is written =="
		case strings.Contains(message, "token EOF"):
			message, hint = "the expression ends too early", "a value is missing behind the last sign, or a bracket is not closed"
		case strings.Contains(message, "Operator(\",\")"):
			hint = "a number is written with a point: 40.5"
		}
		return nil, &Error{Offset: byteOffset(source, located.From), Message: message, Hint: hint}
	}
	return nil, &Error{Message: firstLine(err.Error())}
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
	words := []string{"and", "or", "not", "in", "let", "if", "else", "true", "false", "nil", "matches", "contains"}
	_, computes := functions[name]
	return questionnaire.Find(name) != nil || computes || slices.Contains(words, name)
}
