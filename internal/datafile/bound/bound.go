// Package bound owns what a data file may be before anything is made of it: its size, its
// depth, its characters.
package bound

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"reflect"
	"slices"
	"strings"
	"unicode/utf8"

	"echotally/internal/datafile/fault"
	"echotally/internal/printable"
)

// Bounds of a data file, before anything is made of it, well above what the shipped ones
// have. The YAML library takes memory by the square of the entries of a mapping.
const (
	MaxSize     = 1 << 20 // bytes
	maxLines    = 10_000
	maxMarks    = 200_000 // of the marks that make nodes
	maxBrackets = 64      // of brackets
	maxIndent   = 200     // columns
	maxTagged   = 1000    // of words that begin as anchors, aliases and tags do, which are refused later
)

// ReadFile reads a data file: a regular one of at most MaxSize, whose size is looked
// at before it is read. Anything else is a [fault.Error].
func ReadFile(layer fs.FS, name string) ([]byte, error) {
	info, err := fs.Stat(layer, name)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, &fault.Error{File: name, Message: "not a regular file", Hint: "put a file in its place"}
	}
	if info.Size() > MaxSize {
		return nil, TooLarge(name)
	}
	file, err := layer.Open(name)
	if err != nil {
		return nil, err
	}
	src, err := readAll(file, int(info.Size()))
	if err = errors.Join(err, file.Close()); err != nil {
		return nil, err
	}
	if len(src) > MaxSize {
		return nil, TooLarge(name)
	}
	return src, nil
}

// readAll reads a file that is likely to have some size, and no more of it than tells
// that it is too large.
func readAll(file io.Reader, likely int) ([]byte, error) {
	src := make([]byte, 0, likely+1)
	for {
		n, err := file.Read(src[len(src):cap(src)])
		src = src[:len(src)+n]
		switch {
		case errors.Is(err, io.EOF):
			return src, nil
		case err != nil || len(src) > MaxSize:
			return src, err
		case len(src) == cap(src):
			src = slices.Grow(src, min(len(src)+512, MaxSize+1-len(src)))
		}
	}
}

// TooLarge is the fault of a file larger than MaxSize.
func TooLarge(file string) *fault.Error {
	return &fault.Error{File: file, Message: fmt.Sprintf("larger than %d bytes", MaxSize), Hint: "split the file"}
}

// Check says where a file goes beyond what a reader of YAML takes without harm;
// nil when it does not. Quoting is not looked at: a text may count, which no file of
// ours comes near.
func Check(file string, src []byte) error {
	line, column, depth, marks, tagged, indent := 1, 0, 0, 0, 0, true
	fault := func(what, hint string) error {
		return fault.At(file, src, line, column, what, hint)
	}
	for i, c := range src {
		column++
		switch c {
		case '\n':
			line, column, indent = line+1, 0, true
			if line > maxLines {
				return fault(fmt.Sprintf("more than %d lines", maxLines), "split the file")
			}
			continue
		case '[', '{':
			depth++
			marks++
		case ']', '}':
			depth = max(depth-1, 0)
		case ':', ',', '-', '?', '&', '*', '!', '|', '>':
			marks++
		}
		if (c == '&' || c == '*' || c == '!') && i > 0 && src[i-1] == ' ' && i+1 < len(src) && src[i+1] > ' ' {
			tagged++
		}
		indent = indent && (c == ' ' || c == '-' || c == '?')
		switch {
		case c == '\r' && (i+1 == len(src) || src[i+1] != '\n'): // YAML ends a line there, and no count of lines would see it
			return fault("a carriage return that no line feed follows", "save the file with the line ends of your system")
		case c < 0x20 && c != '\t' && c != '\r' || c == 0x7F:
			return fault(fmt.Sprintf("control character %#02x", c), "take it out")
		case depth > maxBrackets:
			return fault(fmt.Sprintf("brackets nested deeper than %d", maxBrackets), "write it flatter")
		case indent && column > maxIndent:
			return fault(fmt.Sprintf("indented by more than %d columns", maxIndent), "write it flatter")
		case tagged > maxTagged:
			return fault("anchors, aliases, merge keys and tags are not allowed", "write the value out")
		case marks > maxMarks:
			return fault(fmt.Sprintf("more than %d values", maxMarks), "split the file")
		}
	}
	return nil
}

// Acting finds a text with a character that would act on what shows it, "" when
// there is none.
func Acting(v reflect.Value) string {
	switch v.Kind() {
	case reflect.String:
		if text := v.String(); strings.ContainsFunc(text, acts) {
			return text
		}
	case reflect.Pointer, reflect.Interface:
		if !v.IsNil() {
			return Acting(v.Elem())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if found := Acting(v.Field(i)); found != "" {
				return found
			}
			// A title stands in lines of its own, which it must not end.
			if f := v.Field(i); f.Kind() == reflect.String && strings.ContainsAny(f.String(), "\n\t") && v.Type().Field(i).Tag.Get("yaml") == "title" {
				return f.String()
			}
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			if found := Acting(v.Index(i)); found != "" {
				return found
			}
		}
	case reflect.Map:
		for at := v.MapRange(); at.Next(); {
			if found := Acting(at.Key()) + Acting(at.Value()); found != "" {
				return found
			}
		}
	}
	return ""
}

// Inert reports whether a file can hold no such character, as written, by an
// escape of YAML, or because lines stay lines.
func Inert(src []byte) bool {
	for _, mark := range []string{`\`, "|", "\n\n", " \n", ">\n", ">-\n", ">+\n", "\r"} {
		if bytes.Contains(src, []byte(mark)) {
			return false
		}
	}
	for i := 0; i < len(src); {
		c := src[i]
		if c < utf8.RuneSelf {
			if (c < ' ' || c == 0x7F) && acts(rune(c)) {
				return false
			}
			i++
			continue
		}
		r, size := utf8.DecodeRune(src[i:])
		if acts(r) {
			return false
		}
		i += size
	}
	return true
}

func acts(r rune) bool { return printable.Unsafe(r) && r != '\n' && r != '\t' }
