package datafile

import (
	"fmt"
	"strings"

	"github.com/goccy/go-yaml/ast"
)

// Written is a plain value exactly as it stands in the file: 2.90 stays "2.90",
// where decoding into a string would give "2.9".
type Written string

// Range is a range of quantities as a file has it, ends included; an end that is
// not there is open.
type Range struct {
	Low  *Bound `yaml:"low"`
	High *Bound `yaml:"high"`
}

// Bound is one end of a range.
type Bound struct {
	Value Written `yaml:"value"`
	Unit  string  `yaml:"unit"`
}

// Shape is what a value is, for types that take several; decode into it first.
type Shape int

// Shapes of a value.
const (
	Scalar Shape = iota
	Sequence
	Mapping
)

// UnmarshalYAML looks at the value without reading it.
func (s *Shape) UnmarshalYAML(node ast.Node) error {
	switch node.(type) {
	case *ast.SequenceNode:
		*s = Sequence
	case *ast.MappingNode, *ast.MappingValueNode:
		*s = Mapping
	default:
		*s = Scalar
	}
	return nil
}

func (n *node) shape() Shape {
	switch n.form {
	case sequence:
		return Sequence
	case mapping:
		return Mapping
	}
	return Scalar
}

// UnmarshalYAML takes the ends by name, or "any" for a range open on both sides.
func (r *Range) UnmarshalYAML(decode func(any) error) error {
	var word Written
	if decode(&word) == nil && word == "any" {
		return nil
	}
	type plain Range
	return decode((*plain)(r))
}

// UnmarshalYAML takes "18 years" or its parts by name.
func (b *Bound) UnmarshalYAML(decode func(any) error) error {
	var text Written
	if decode(&text) == nil {
		b.Value, b.Unit = Quantity(string(text))
		return nil
	}
	type plain Bound
	err := decode((*plain)(b))
	b.Unit = Unit(b.Unit)
	return err
}

// Quantity splits a number as written from its unit: "18 years" is 18 and a.
func Quantity(text string) (number Written, unit string) {
	n, u, _ := strings.Cut(strings.TrimSpace(text), " ")
	return Written(n), Unit(strings.TrimSpace(u))
}

// Unit gives the code of a unit that a file may write in the words of the trade.
func Unit(text string) string {
	switch text {
	case "year", "years":
		return "a"
	case "month", "months":
		return "mo"
	case "week", "weeks":
		return "wk"
	case "day", "days":
		return "d"
	}
	return strings.ReplaceAll(text, "mmHg", "mm[Hg]")
}

// UnmarshalYAML takes the text of a scalar.
func (w *Written) UnmarshalYAML(node ast.Node) error {
	switch n := node.(type) {
	case *ast.StringNode:
		*w = Written(n.Value)
	case *ast.LiteralNode:
		*w = Written(n.Value.Value)
	case ast.ScalarNode:
		*w = Written(n.GetToken().Value)
	default:
		return fmt.Errorf("a plain value is wanted here, this is a %s", node.Type())
	}
	return nil
}
