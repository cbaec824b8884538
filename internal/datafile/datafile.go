// Package datafile owns the strict YAML data file: how it is decoded and how
// every fault in it is told with file, line, column, the line itself, a caret
// and a hint. It knows nothing of what the files say.
package datafile

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"reflect"
	"regexp"
	"slices"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"

	"echotally/internal/datafile/plain"
	"echotally/internal/printable"
	"echotally/internal/spelling"
)

// Error is one fault in a data file.
type Error struct {
	File         string
	Line, Column int    // 1-based; 0 when the fault has no place
	Source       string // the line, as written
	Message      string // what is wrong, lower case
	Hint         string // what to do, may be empty
	More         int    // further faults of the file, which this one stands for
	cause        error
	beyond       bool // one too many to be shown
}

// ErrEmpty is the cause of the error for a file of nothing but comments.
var ErrEmpty = errors.New("empty file")

// Unwrap returns the cause, if the fault is one that can be told apart.
func (e *Error) Unwrap() error { return e.cause }

// ByPlace orders faults by file, line and column; other errors come last.
func ByPlace(a, b error) int {
	var x, y *Error
	if !errors.As(a, &x) || !errors.As(b, &y) {
		return cmp.Compare(rank(a), rank(b))
	}
	return cmp.Or(cmp.Compare(x.File, y.File), cmp.Compare(x.Line, y.Line), cmp.Compare(x.Column, y.Column))
}

func rank(err error) int {
	if _, ok := errors.AsType[*Error](err); ok {
		return 0
	}
	return 1
}

// Error returns the fault over several lines: place and message, the line with
// a caret, the hint.
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(printable.Line(e.File))
	if e.Line > 0 {
		fmt.Fprintf(&b, ":%d:%d", e.Line, e.Column)
	}
	b.WriteString(": " + printable.Quote(e.Message, 3*mostQuoted))
	if e.Source != "" {
		source, before := e.quoted()
		fmt.Fprintf(&b, "\n  %s\n  %s^", source, strings.Repeat(" ", before))
	}
	if e.Hint != "" {
		b.WriteString("\n  hint: " + e.Hint)
	}
	return b.String()
}

// quoted is the part of the line that the fault is in, and how many characters of it
// stand before the place.
func (e *Error) quoted() (source string, before int) {
	line := []rune(e.Source)
	from := 0
	if at := e.Column - 1; at >= mostQuoted {
		from = min(at-mostQuoted/2, len(line))
	}
	before = max(e.Column-1-from, 0)
	source = printable.Quote(string(line[from:]), mostQuoted)
	return source, min(before, len([]rune(source)))
}

// At builds an Error at a line and column of src.
func At(file string, src []byte, line, column int, message, hint string) *Error {
	return &Error{File: file, Line: line, Column: column, Source: lineOf(src, line), Message: message, Hint: hint}
}

func lineOf(src []byte, line int) string {
	for n := 1; n < line; n++ {
		end := bytes.IndexByte(src, '\n')
		if end < 0 {
			return ""
		}
		src = src[end+1:]
	}
	if line < 1 {
		return ""
	}
	text, _, _ := bytes.Cut(src, []byte("\n"))
	return strings.TrimRight(string(text), "\r")
}

// Decode decodes one data file strictly into a struct or slice. The error is an
// *Error.
func Decode(file string, src []byte, into any) error {
	if len(src) > MaxSize {
		return tooLarge(file)
	}
	if !plainBytes(src) {
		return decodeGuarded(file, src, into)
	}
	return decode(file, src, into)
}

// decodeGuarded decodes a file that may hold characters which act on what shows them.
func decodeGuarded(file string, src []byte, into any) error {
	if err := decode(file, src, into); err != nil {
		return err
	}
	if text := acting(reflect.ValueOf(into)); text != "" {
		return &Error{File: file, Message: "a text with a control character, or a title with a line break: " + printable.Quote(text, mostQuoted), Hint: "take it out"}
	}
	return nil
}

func decode(file string, src []byte, into any) error {
	if to := reflect.ValueOf(into).Elem(); to.IsZero() {
		if plain.Decode(string(src), to) {
			return nil
		}
		to.SetZero()
	}
	return DecodeByLibrary(file, src, into)
}

// DecodeByLibrary decodes any YAML and says what is wrong with it.
func DecodeByLibrary(file string, src []byte, into any) error {
	if err := Bounded(file, src); err != nil {
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
		return At(file, src, line, column, "more than one document", "keep one document per file")
	}
	if len(tree.Docs) == 0 { // nothing but a document end mark
		return &Error{File: file, Message: "empty file", cause: ErrEmpty}
	}
	var bad *Error
	for _, doc := range tree.Docs {
		if doc.Body == nil {
			return &Error{File: file, Message: "empty file", cause: ErrEmpty}
		}
		ast.Walk(visitor(func(n ast.Node) bool {
			if bad != nil {
				return false
			}
			switch n.(type) {
			case *ast.AnchorNode, *ast.AliasNode, *ast.TagNode, *ast.MergeKeyNode:
				p := n.GetToken().Position
				bad = At(file, src, p.Line, p.Column, "anchors, aliases, merge keys and tags are not allowed", "write the value out")
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

func fromLibrary(file string, src []byte, err error, into any) *Error {
	var own *Error
	if errors.As(err, &own) {
		return own
	}
	out := &Error{File: file}
	var located yaml.Error
	if !errors.As(err, &located) {
		out.Message = placePrefix.ReplaceAllString(firstLine(err.Error()), "")
	} else { // whose own text shows the file around, at length
		out.Message = located.GetMessage()
		if t := located.GetToken(); t != nil {
			out.Line, out.Column = t.Position.Line, t.Position.Column
			out.Source = lineOf(src, out.Line)
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
