package writer

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
)

// Contract writes a machine contract in words, from its schema file: one line
// per field. Names: measurement, read, check.
func Contract(name string) (string, error) {
	src, err := Schemas.ReadFile("schema/" + name + ".schema.json")
	if err != nil {
		return "", fmt.Errorf("contract %s: %w", name, err)
	}
	var s schemaNode
	if err := json.Unmarshal(src, &s); err != nil {
		return "", fmt.Errorf("contract %s: %w", name, err)
	}
	var b strings.Builder
	b.WriteString(s.Title + "\n")
	if err := s.fields(&b, 1, s.Definitions); err != nil {
		return "", fmt.Errorf("contract %s: %w", name, err)
	}
	return b.String(), nil
}

// schemaNode is the part of JSON Schema that the contracts use.
type schemaNode struct {
	Title       string                `json:"title"`
	Description string                `json:"description"`
	Type        any                   `json:"type"`
	Enum        []string              `json:"enum"`
	Properties  json.RawMessage       `json:"properties"`
	Required    []string              `json:"required"`
	Items       *schemaNode           `json:"items"`
	OneOf       []*schemaNode         `json:"oneOf"`
	Reference   string                `json:"$ref"`
	Definitions map[string]schemaNode `json:"$defs"`
}

// fields writes the properties in the order of the file, those of nested
// objects indented below.
func (s *schemaNode) fields(b *strings.Builder, depth int, definitions map[string]schemaNode) error {
	if len(s.Properties) == 0 {
		return nil
	}
	decoder := json.NewDecoder(bytes.NewReader(s.Properties))
	if _, err := decoder.Token(); err != nil {
		return err
	}
	for decoder.More() {
		key, err := decoder.Token()
		if err != nil {
			return err
		}
		var node schemaNode
		if err := decoder.Decode(&node); err != nil {
			return err
		}
		name := fmt.Sprint(key)
		optional := ""
		if !slices.Contains(s.Required, name) {
			optional = "optional; "
		}
		text := optional + node.Description
		if len(node.Enum) > 0 {
			text += " (" + strings.Join(node.Enum, ", ") + ")"
		}
		fieldLine(b, depth, name, node.kind(), text)
		if below := node.below(definitions); below != nil && below.Title == "" {
			if err := below.fields(b, depth+1, definitions); err != nil {
				return err
			}
		}
	}
	return nil
}

func (s *schemaNode) kind() string {
	switch {
	case s.Items != nil:
		return "list"
	case strings.HasSuffix(s.Reference, "/code"):
		return "code"
	case s.Reference != "" || len(s.OneOf) > 0:
		return "object"
	}
	if several, ok := s.Type.([]any); ok {
		return strings.Trim(fmt.Sprint(several), "[]")
	}
	return fmt.Sprint(s.Type)
}

// below is the object whose fields stand under this one; codes are explained once.
func (s *schemaNode) below(definitions map[string]schemaNode) *schemaNode {
	node := s
	if s.Items != nil {
		node = s.Items
	}
	if len(node.OneOf) > 0 {
		node = node.OneOf[0]
	}
	if name, ok := strings.CutPrefix(node.Reference, "#/$defs/"); ok && name != "code" {
		found := definitions[name]
		return &found
	}
	return node
}

func fieldLine(b *strings.Builder, depth int, name, kind, text string) {
	const column = 46
	head := fmt.Sprintf("%-*s", 32, strings.Repeat("  ", depth)+name) + fmt.Sprintf("%-13s", kind)
	line := fmt.Sprintf("%-*s", column, head)
	indent := strings.Repeat(" ", column)
	for _, word := range strings.Fields(text) {
		if len(line) > column && len(line)+len(word) > 100 {
			b.WriteString(strings.TrimRight(line, " ") + "\n")
			line = indent
		}
		line += word + " "
	}
	b.WriteString(strings.TrimRight(line, " ") + "\n")
}
