// Package message owns the sentence that a rule says: text with expressions in braces,
// and how their values are put into words.
package message

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"echotally/internal/expr"
	"echotally/internal/ucum"
)

// Template is a message with expressions in braces. {steps | grade} counts a
// noun: "one grade", "two grades". {title x} is the short name of what x stands
// for. {low to high | mild, moderate, severe} names
// a range by the words of a list: "mild to moderate", or "mild" when both ends
// are 1.
type Template struct {
	parts []part
}

type part struct {
	text    string
	program *expr.Program
	upTo    *expr.Program // the other end, when the two name a range
	words   []string      // what is counted, or the words the numbers stand for
	title   bool          // the name of the alias, not its value
}

// maxTemplate bounds a message, in bytes.
const maxTemplate = 2000

// Compile reads a message; the error is an *Error whose offset counts
// from the start of the message.
func Compile(source string, scope expr.Scope) (*Template, error) {
	if len(source) > maxTemplate {
		return nil, &expr.Error{Offset: maxTemplate, Message: fmt.Sprintf("longer than %d bytes", maxTemplate), Hint: "a message is a sentence or a few"}
	}
	var t Template
	rest, at := source, 0
	for {
		open := strings.IndexByte(rest, '{')
		if open < 0 {
			t.parts = append(t.parts, part{text: rest})
			return &t, nil
		}
		end := strings.IndexByte(rest[open:], '}')
		if end < 0 {
			return nil, &expr.Error{Offset: at + open, Message: "brace never closed", Hint: "close it with }"}
		}
		p, fault := compilePart(rest[open+1:open+end], scope)
		if fault != nil {
			fault.Offset += at + open + 1
			return nil, fault
		}
		t.parts = append(t.parts, part{text: rest[:open]}, p)
		at += open + end + 1
		rest = rest[open+end+1:]
	}
}

// compilePart reads what stands between two braces.
func compilePart(inside string, scope expr.Scope) (part, *expr.Error) {
	var out part
	if alias, ok := strings.CutPrefix(inside, titleOf); ok {
		return compileTitle(alias, scope)
	}
	source, list, named := strings.Cut(inside, "|")
	from, to, isRange := strings.Cut(source, " to ")
	compile := func(source string, offset int) (*expr.Program, *expr.Error) {
		p, err := expr.Compile(source, scope)
		if err != nil {
			fault := *err.(*expr.Error)
			fault.Offset += offset
			return nil, &fault
		}
		if named && p.Unit.Code() != "1" {
			return nil, countFault(len(source))
		}
		return p, nil
	}
	var fault *expr.Error
	if out.program, fault = compile(from, 0); fault != nil {
		return out, fault
	}
	if isRange {
		if out.upTo, fault = compile(to, len(from)+len(" to ")); fault != nil {
			return out, fault
		}
	}
	if !named {
		if isRange {
			return out, countFault(len(from))
		}
		return out, nil
	}
	for _, w := range strings.Split(list, ",") {
		w = strings.TrimSpace(w)
		out.words = append(out.words, w)
		if w == "" || !isRange && noun.FindString(w) != w {
			return out, countFault(len(source) + 1)
		}
	}
	if isRange != (len(out.words) > 1) {
		return out, countFault(len(source) + 1)
	}
	return out, nil
}

// titleOf begins a part that names what an alias stands for.
const titleOf = "title "

func compileTitle(alias string, scope expr.Scope) (part, *expr.Error) {
	p, err := expr.Compile(alias, scope)
	if err != nil {
		fault := *err.(*expr.Error)
		fault.Offset += len(titleOf)
		return part{}, &fault
	}
	named, _ := scope.Symbols.Find(alias)
	if _, ok := p.Alias(); !ok || !named.Set {
		return part{}, &expr.Error{Offset: len(titleOf), Message: alias + " has no title", Hint: "write {title x} with a name of measurands"}
	}
	return part{program: p, title: true}, nil
}

func countFault(offset int) *expr.Error {
	return &expr.Error{Offset: offset, Message: "a count is a plain number and one noun, a range two plain numbers and a list of words",
		Hint: "write {steps | grade} or {low to high | mild, moderate, severe}"}
}

// Programs lists the expressions of the message in order.
func (t *Template) Programs() []*expr.Program {
	var out []*expr.Program
	for _, p := range t.parts {
		if p.program != nil {
			out = append(out, p.program)
		}
		if p.upTo != nil {
			out = append(out, p.upTo)
		}
	}
	return out
}

// Words give the words for what stands in a message.
type Words interface {
	Title(alias string) string               // what the alias stands for
	Named(alias string) string               // the value of a bare name
	Number(x float64, unit ucum.Unit) string // a computed number
}

// Write fills in the message.
func (t *Template) Write(words Words, values expr.Values) string {
	var b strings.Builder
	for _, p := range t.parts {
		b.WriteString(p.text)
		if p.program == nil {
			continue
		}
		if p.upTo != nil {
			b.WriteString(ranged(p.program.Eval(values), p.upTo.Eval(values), p.words))
			continue
		}
		if len(p.words) > 0 {
			b.WriteString(counted(p.program.Eval(values), p.words[0]))
			continue
		}
		switch alias, ok := p.program.Alias(); {
		case p.title:
			b.WriteString(words.Title(alias))
		case ok:
			b.WriteString(words.Named(alias))
		default:
			b.WriteString(words.Number(p.program.Eval(values), p.program.Unit))
		}
	}
	return b.String()
}

// counted writes how many of a noun there are, small numbers in words.
func counted(x float64, noun string) string {
	switch n := strconv.FormatFloat(x, 'f', -1, 64); n {
	case "NaN":
		return "an unknown number of " + noun + "s"
	case "1":
		return "one " + noun
	case "2":
		return "two " + noun + "s"
	case "3":
		return "three " + noun + "s"
	case "4":
		return "four " + noun + "s"
	default:
		return n + " " + noun + "s"
	}
}

// ranged writes a range of ranks in the words that stand for them, the first
// for 1.
func ranged(low, high float64, words []string) string {
	name := func(x float64) string {
		if i := int(x) - 1; float64(i+1) == x && i >= 0 && i < len(words) {
			return words[i]
		}
		return strconv.FormatFloat(x, 'g', 3, 64)
	}
	if low == high {
		return name(low)
	}
	return name(low) + " to " + name(high)
}

// noun is a word as a count may name.
var noun = regexp.MustCompile(`[\pL_][\pL0-9_]*`)
