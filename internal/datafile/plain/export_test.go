package plain

import (
	"fmt"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
)

// ReadTree is what the tests read a tree with, which are outside the package since
// they hold it against what the package above it reads.
func ReadTree(src, leave string) ([]node, bool) {
	r := &reader{}
	ok := r.readTree(src, leave)
	return r.nodes, ok
}

// Differs says where a tree is not the one the YAML library reads, "" when it
// is.
func Differs(nodes []node, src string) string {
	file, err := parser.ParseBytes([]byte(src), 0)
	if err != nil && strings.Contains(err.Error(), "already defined") {
		return "" // told when it is filled in
	}
	if err != nil {
		return "the library refuses it: " + err.Error()
	}
	if len(file.Docs) != 1 || file.Docs[0].Body == nil {
		return fmt.Sprintf("the library reads %d documents", len(file.Docs))
	}
	return nodes[0].differs(nodes, file.Docs[0].Body)
}

func (n *node) differs(nodes []node, other ast.Node) string {
	children := func() (out []*node) {
		for c := n.child; c != 0; c = nodes[c].next {
			out = append(out, &nodes[c])
		}
		return out
	}
	pairs := func(all []*ast.MappingValueNode) string {
		own := children()
		if n.form != mapping || len(own) != len(all) {
			return fmt.Sprintf("%v: form %d with %d children, want a mapping of %d", other.GetToken().Position, n.form, len(own), len(all))
		}
		for i, v := range all {
			key, ok := v.Key.(ast.ScalarNode)
			if !ok || key.GetToken().Value != own[i].key {
				return fmt.Sprintf("%v: key %q, want %v", v.GetToken().Position, own[i].key, v.Key)
			}
			if what := own[i].differs(nodes, v.Value); what != "" {
				return what
			}
		}
		return ""
	}
	scalar := func(text string, is ...form) string {
		for _, f := range is {
			if n.form == f && n.text == text && n.child == 0 {
				return ""
			}
		}
		return fmt.Sprintf("%v: form %d, %q, want %q (%s)", other.GetToken().Position, n.form, n.text, text, other.Type())
	}
	switch o := other.(type) {
	case *ast.MappingNode:
		return pairs(o.Values)
	case *ast.MappingValueNode:
		return pairs([]*ast.MappingValueNode{o})
	case *ast.SequenceNode:
		own := children()
		if n.form != sequence || len(own) != len(o.Values) {
			return fmt.Sprintf("%v: form %d with %d children, want a sequence of %d", o.GetToken().Position, n.form, len(own), len(o.Values))
		}
		for i, v := range o.Values {
			if what := own[i].differs(nodes, v); what != "" {
				return what
			}
		}
		return ""
	case *ast.StringNode:
		if n.form == plainScalar && !isText(n.text) && !isNumber(n.text) {
			return "" // in doubt, and so never taken
		}
		return scalar(o.Value, plainScalar, quotedScalar)
	case *ast.LiteralNode:
		return scalar(o.Value.Value, quotedScalar)
	case ast.ScalarNode:
		if n.form == plainScalar && isText(n.text) {
			return fmt.Sprintf("%v: %q is taken for a text, it is a %s", o.GetToken().Position, n.text, o.Type())
		}
		return scalar(o.GetToken().Value, plainScalar)
	}
	return fmt.Sprintf("%v: a %s", other.GetToken().Position, other.Type())
}

// Shape is a letter for the form of each node.
func Shape(nodes []node) string {
	var b strings.Builder
	for _, n := range nodes {
		b.WriteByte('a' + byte(n.form))
	}
	return b.String()
}
