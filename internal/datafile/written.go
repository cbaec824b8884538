package datafile

import (
	"fmt"

	"github.com/goccy/go-yaml/ast"
)

// Written is a plain value exactly as it stands in the file: 2.90 stays "2.90",
// where decoding into a string would give "2.9".
type Written string

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
