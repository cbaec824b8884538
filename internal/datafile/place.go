package datafile

import (
	"strings"
	"sync"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"

	"echotally/internal/datafile/bound"
	"echotally/internal/datafile/fault"
)

// Places finds the places of values in one file, which it parses when the first is
// asked for. Several goroutines may use it.
type Places struct {
	file string
	src  []byte

	using  sync.Mutex
	parsed bool
	tree   *ast.File // nil when it is no YAML
	faults int
}

// NewPlaces gives the places of a file of that name.
func NewPlaces(file string, src []byte) *Places { return &Places{file: file, src: src} }

// Fault is a fault of the value at a YAML path. Join only counts those that go
// beyond what is shown of a file, so that their place is not looked for.
func (p *Places) Fault(path, message, hint string) error {
	if p.beyond() {
		return &fault.Error{File: p.file, Message: message, Hint: hint, Beyond: true}
	}
	line, column := p.Position(path)
	return fault.At(p.file, p.src, line, column, message, hint)
}

// beyond counts a fault and reports whether it is one too many to be shown.
func (p *Places) beyond() bool {
	p.using.Lock()
	defer p.using.Unlock()
	p.faults++
	return p.faults > fault.MostShown
}

// Position gives line and column of the value at a YAML path such as
// "$.require" or "$.examples[2].given"; zeros when there is none. For a block
// scalar the position is that of its first text line.
func (p *Places) Position(path string) (line, column int) {
	p.using.Lock()
	defer p.using.Unlock()
	if !p.parsed {
		p.parsed = true
		if bound.Check(p.file, p.src) == nil { // a larger file is too much for the library
			if tree, err := parser.ParseBytes(p.src, 0); err == nil {
				p.tree = tree
			}
		}
	}
	if p.tree == nil {
		return 0, 0
	}
	at, err := yaml.PathString(path)
	if err != nil {
		return 0, 0
	}
	node, err := at.FilterFile(p.tree)
	if err != nil || node == nil {
		return 0, 0
	}
	t := node.GetToken()
	if lit, ok := node.(*ast.LiteralNode); ok && lit.Value != nil {
		first := lit.Start.Position.Line + 1
		text := fault.LineOf(p.src, first)
		return first, len(text) - len(strings.TrimLeft(text, " ")) + 1
	}
	column = t.Position.Column
	if s, ok := node.(*ast.StringNode); ok && strings.HasPrefix(strings.TrimSpace(s.Token.Origin), "\"") {
		column++
	}
	return t.Position.Line, column
}
