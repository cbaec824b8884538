// Package datafile owns the strict YAML data file: how it is decoded, and where in
// it a value stands. It knows nothing of what the files say. What is wrong with one is
// told by package fault.
package datafile

import (
	"bytes"
	"errors"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"unsafe"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"

	"echotally/internal/datafile/bound"
	"echotally/internal/datafile/fault"
	"echotally/internal/datafile/plain"
	"echotally/internal/printable"
	"echotally/internal/spelling"
)

// ErrEmpty is the cause of the error for a file of nothing but comments.
var ErrEmpty = errors.New("empty file")

// Decode decodes one data file strictly into a struct or slice, which may keep parts of
// the text: it must not change afterwards. The error is a [fault.Error].
func Decode(file string, src []byte, into any) error {
	if len(src) > bound.MaxSize {
		return bound.TooLarge(file)
	}
	if !bound.Inert(src) {
		return decodeGuarded(file, src, into)
	}
	return decode(file, src, "", into)
}

// DecodeLinted decodes a data file that is linted: what it may hold was looked at before.
// What stands under a key is left out if one is given, unless the file goes beyond what
// package plain reads.
func DecodeLinted(file string, src []byte, leave string, into any) error {
	return decode(file, src, leave, into)
}

// decodeGuarded decodes a file that may hold characters which act on what shows them.
func decodeGuarded(file string, src []byte, into any) error {
	if err := decode(file, src, "", into); err != nil {
		return err
	}
	if text := bound.Acting(reflect.ValueOf(into)); text != "" {
		return &fault.Error{File: file, Message: "a text with a control character, or a title with a line break: " + printable.Quote(text, fault.MostQuoted), Hint: "take it out"}
	}
	return nil
}

func decode(file string, src []byte, leave string, into any) error {
	if to := reflect.ValueOf(into).Elem(); to.IsZero() {
		if plain.Decode(unsafe.String(unsafe.SliceData(src), len(src)), leave, to) { // a copy of all files would be a tenth of loading them
			return nil
		}
		to.SetZero()
	}
	return DecodeByLibrary(file, src, into)
}

// DecodeByLibrary decodes any YAML and says what is wrong with it.
func DecodeByLibrary(file string, src []byte, into any) error {
	if err := bound.Check(file, src); err != nil {
		return err
	}
	tree, err := parser.ParseBytes(src, 0)
	if err != nil {
		return fromLibrary(file, src, err, into)
	}
	if len(tree.Docs) > 1 {
		t := tree.Docs[1].Start
		line, column := 1, 1
		if t != nil {
			line, column = t.Position.Line, t.Position.Column
		}
		return fault.At(file, src, line, column, "more than one document", "keep one document per file")
	}
	if len(tree.Docs) == 0 { // nothing but a document end mark
		return &fault.Error{File: file, Message: "empty file", Cause: ErrEmpty}
	}
	var bad *fault.Error
	for _, doc := range tree.Docs {
		if doc.Body == nil {
			return &fault.Error{File: file, Message: "empty file", Cause: ErrEmpty}
		}
		ast.Walk(visitor(func(n ast.Node) bool {
			if bad != nil {
				return false
			}
			switch n.(type) {
			case *ast.AnchorNode, *ast.AliasNode, *ast.TagNode, *ast.MergeKeyNode:
				p := n.GetToken().Position
				bad = fault.At(file, src, p.Line, p.Column, "anchors, aliases, merge keys and tags are not allowed", "write the value out")
				return false
			}
			return true
		}), doc.Body)
	}
	if bad != nil {
		return bad
	}
	dec := yaml.NewDecoder(bytes.NewReader(nil), yaml.Strict(), yaml.DisallowUnknownField())
	if err := dec.DecodeFromNode(tree.Docs[0].Body, into); err != nil {
		return fromLibrary(file, src, err, into)
	}
	return nil
}

type visitor func(ast.Node) bool

func (v visitor) Visit(n ast.Node) ast.Visitor {
	if !v(n) {
		return nil
	}
	return v
}

var (
	unknownField = regexp.MustCompile(`unknown field "([^"]+)"`)
	placePrefix  = regexp.MustCompile(`^\[\d+:\d+\]\s*`)
)

func fromLibrary(file string, src []byte, err error, into any) *fault.Error {
	var own *fault.Error
	if errors.As(err, &own) {
		return own
	}
	out := &fault.Error{File: file}
	var located yaml.Error
	if !errors.As(err, &located) {
		out.Message = placePrefix.ReplaceAllString(firstLine(err.Error()), "")
	} else { // whose own text shows the file around, at length
		out.Message = located.GetMessage()
		if t := located.GetToken(); t != nil {
			out.Line, out.Column = t.Position.Line, t.Position.Column
			out.Source = fault.LineOf(src, out.Line)
		}
	}
	out.Hint = syntaxHint(out.Message, out.Source)
	if m := unknownField.FindStringSubmatch(out.Message); m != nil {
		names := fieldNames(reflect.TypeOf(into), map[reflect.Type]bool{})
		if out.Hint = CommaHint(m[1]); out.Hint != "" {
			return out
		}
		if slices.Contains(names, m[1]) {
			out.Hint = m[1] + " has its place elsewhere in such a file, not here"
		} else if near := spelling.Nearest(m[1], names); near != "" {
			out.Hint = "did you mean " + near + "?"
		}
	}
	return out
}

// CommaHint says what a name that begins as a number mostly is: what stands behind
// a comma in a number. It is "" for any other name.
func CommaHint(name string) string {
	if name == "" || name[0] < '0' || name[0] > '9' {
		return ""
	}
	return "a number is written with a point, 40.5 mm; a comma begins the next entry"
}

// bareUnit is a unit with brackets outside of quotes: to YAML they begin a list.
var bareUnit = regexp.MustCompile(`([0-9.,]+ )?mm\[Hg\]`)

// syntaxHint says what mostly lies behind a fault of the syntax, "" when it is
// none.
func syntaxHint(message, source string) string {
	switch {
	case !strings.Contains(message, "must be specified") && !strings.Contains(message, "could not find"):
		return ""
	case bareUnit.MatchString(source):
		value := bareUnit.FindString(source)
		return "write " + strings.Replace(value, "mm[Hg]", "mmHg", 1) + ", or put it in quotes: \"" + value + "\""
	case strings.Contains(message, "end token"):
		return "a bracket that opens here is never closed"
	}
	return "a text that holds one of , : [ ] { } stands in quotes; every bracket that opens is closed"
}

func firstLine(s string) string {
	line, _, _ := strings.Cut(s, "\n")
	return line
}

// fieldNames lists the YAML keys a type can hold, at any depth.
func fieldNames(t reflect.Type, seen map[reflect.Type]bool) []string {
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice || t.Kind() == reflect.Map {
		if own, is := reflect.Zero(t).Interface().(interface{ WrittenKeys() []string }); is && t.Kind() == reflect.Slice {
			return own.WrittenKeys() // another form of it is in the file
		}
		t = t.Elem()
	}
	if t.Kind() != reflect.Struct || seen[t] {
		return nil
	}
	seen[t] = true
	var names []string
	for f := range fields(t) {
		if name, _, _ := strings.Cut(f.Tag.Get("yaml"), ","); name != "" && name != "-" {
			names = append(names, name)
		}
		names = append(names, fieldNames(f.Type, seen)...)
	}
	return names
}

func fields(t reflect.Type) func(func(reflect.StructField) bool) {
	return func(yield func(reflect.StructField) bool) {
		for i := range t.NumField() {
			if !yield(t.Field(i)) {
				return
			}
		}
	}
}
