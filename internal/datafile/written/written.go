// Package written owns the value as it stands in a data file: a plain text that is
// not rounded or rewritten, a quantity, a range of quantities, and which shape a value has.
package written

import (
	"fmt"
	"strings"

	"github.com/goccy/go-yaml/ast"
)

// Text is a plain value exactly as it stands in the file: 2.90 stays "2.90",
// where decoding into a string would give "2.9".
type Text string

// Range is a range of quantities as a file has it, ends included; an end that is
// not there is open.
type Range struct {
	Low  *Bound `yaml:"low"`
	High *Bound `yaml:"high"`
}

// Bound is one end of a range.
type Bound struct {
	Value Text   `yaml:"value"`
	Unit  string `yaml:"unit"`
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

// UnmarshalYAML takes the ends by name, or "any" for a range open on both sides.
func (r *Range) UnmarshalYAML(decode func(any) error) error {
	var word Text
	if decode(&word) == nil && word == "any" {
		return nil
	}
	type plain Range
	return decode((*plain)(r))
}

// UnmarshalYAML takes "18 years" or its parts by name.
func (b *Bound) UnmarshalYAML(decode func(any) error) error {
	var text Text
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
func Quantity(text string) (number Text, unit string) {
	n, u, _ := strings.Cut(strings.TrimSpace(text), " ")
	return Text(n), Unit(strings.TrimSpace(u))
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
func (w *Text) UnmarshalYAML(node ast.Node) error {
	switch n := node.(type) {
	case *ast.StringNode:
		*w = Text(n.Value)
	case *ast.LiteralNode:
		*w = Text(n.Value.Value)
	case ast.ScalarNode:
		*w = Text(n.GetToken().Value)
	default:
		return fmt.Errorf("a plain value is wanted here, this is a %s", node.Type())
	}
	return nil
}
