// Package fault owns a fault in a data file as it is told: file, line and column, the line
// itself with a caret, what is wrong and a hint; the order of many, and how many are shown.
package fault

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"strings"

	"echotally/internal/printable"
)

// Error is one fault in a data file.
type Error struct {
	File         string
	Line, Column int    // 1-based; 0 when the fault has no place
	Source       string // the line, as written
	Message      string // what is wrong, lower case
	Hint         string // what to do, may be empty
	More         int    // further faults of the file, which this one stands for
	Cause        error  // when the fault is one that can be told apart
	Beyond       bool   // one too many to be shown
}

// Unwrap returns the cause, if the fault is one that can be told apart.
func (e *Error) Unwrap() error { return e.Cause }

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
	b.WriteString(": " + printable.Quote(e.Message, 3*MostQuoted))
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
	if at := e.Column - 1; at >= MostQuoted {
		from = min(at-MostQuoted/2, len(line))
	}
	before = max(e.Column-1-from, 0)
	source = printable.Quote(string(line[from:]), MostQuoted)
	return source, min(before, len([]rune(source)))
}

// At builds an Error at a line and column of src.
func At(file string, src []byte, line, column int, message, hint string) *Error {
	return &Error{File: file, Line: line, Column: column, Source: LineOf(src, line), Message: message, Hint: hint}
}

// LineOf is a line of a file, counted from 1, without its end; "" when there is none.
func LineOf(src []byte, line int) string {
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

// MostQuoted is how many characters of a line a fault shows.
const MostQuoted = 200

// MostShown is how many faults of one file are shown; whoever has corrected those
// sees the next.
const MostShown = 100

// Join joins faults as errors.Join does, but for those of a file beyond the first
// hundred: a last one says how many there are.
func Join(faults []error) error {
	var out []error
	var files []string
	shown, more := map[string]int{}, map[string]int{}
	for _, err := range faults {
		e, ok := err.(*Error)
		switch {
		case !ok:
			out = append(out, err)
			continue
		case !e.Beyond && shown[e.File] < MostShown:
			shown[e.File]++
			out = append(out, err)
			continue
		case more[e.File] == 0:
			files = append(files, e.File)
		}
		more[e.File]++
	}
	for _, file := range files {
		out = append(out, &Error{File: file, Message: fmt.Sprintf("and %d more", more[file]), Hint: "correct those above first", More: more[file]})
	}
	return errors.Join(out...)
}
