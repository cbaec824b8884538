package expr

import (
	"maps"
	"slices"
	"sync"

	"github.com/expr-lang/expr/ast"

	"echotally/internal/question"
)

// Scope is what an expression may refer to. The names age and sex, and our own
// functions, are always there.
type Scope struct {
	Symbols     Symbols
	Functions   map[string]Function
	Fields      func() []string // modifier names noted() may ask for
	Definitions Definitions
	Trees       *Trees // nil when each expression is parsed by itself
}

// Symbols are the names of a scope.
type Symbols interface {
	Find(name string) (Symbol, bool)
	Names() []string // all, for who is told that one is unknown
}

// Table is symbols by name.
type Table map[string]Symbol

// Find gives the symbol of a name.
func (t Table) Find(name string) (Symbol, bool) { s, ok := t[name]; return s, ok }

// Names are all names.
func (t Table) Names() []string { return slices.Collect(maps.Keys(t)) }

// find gives the symbol of a name.
func (s Scope) find(name string) (Symbol, bool) {
	if s.Symbols == nil {
		return Symbol{}, false
	}
	return s.Symbols.Find(name)
}

// names are those of all symbols.
func (s Scope) names() []string {
	if s.Symbols == nil {
		return nil
	}
	return s.Symbols.Names()
}

// Trees keeps expressions parsed: rules of one kind have many in common. It is safe for
// use by several goroutines.
type Trees struct{ byText sync.Map }

// parse parses an expression unless that was done before.
func (t *Trees) parse(text string) (ast.Node, *Error) {
	if t == nil {
		return parse(text)
	}
	if known, ok := t.byText.Load(text); ok {
		return known.(ast.Node), nil
	}
	tree, fault := parse(text)
	if fault == nil {
		t.byText.Store(text, tree)
	}
	return tree, fault
}

// Definitions are named parts of expressions; the name stands for the text.
type Definitions map[string]Definition

// Definition is the text of a named part, parsed once.
type Definition struct {
	text  string
	tree  ast.Node
	fault *Error
}

// Define parses named parts. A fault is told where the name is used.
func (t *Trees) Define(texts map[string]string) Definitions {
	if len(texts) == 0 {
		return nil
	}
	out := make(Definitions, len(texts))
	for name, text := range texts {
		tree, fault := t.parse(text)
		out[name] = Definition{text, tree, fault}
	}
	return out
}

// AboutImages reports whether an input asks something that only images can
// answer: of a set of images, or of the image a value was taken on.
func (s Scope) AboutImages(in Input) bool {
	named, _ := s.find(in.Name)
	return named.Images || in.from(question.ImageOfValue)
}
