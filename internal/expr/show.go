package expr

import (
	"regexp"
	"strconv"
	"strings"

	"echotally/internal/ucum"
)

// shown is the expression as it is shown to a reader.
type shown struct {
	text    string // literal, operator or function
	input   *Input
	formula *Function
	args    []shown
	rank    int
	tight   bool // takes anything but a call or a name in parentheses
}

// Ranks of binding, tightest last.
const (
	rankChoice = iota
	rankOr
	rankAnd
	rankNot
	rankComparison
	rankSum
	rankProduct
	rankPower
	rankCall
	rankAtom
)

var comparisonSigns = map[string]string{"<": "<", "<=": "≤", ">": ">", ">=": "≥", "==": "=", "!=": "≠"}

// Show gives the words for an input: with its unit when in is nil, otherwise
// as a bare number in that unit.
type Show func(input Input, in *ucum.Unit) string

// Arithmetic writes the expression with every input replaced by what show
// gives for it: "4 × 2.8² + 8 mmHg". Within a formula, whose arithmetic holds
// in the units of its parameters only, inputs are bare numbers.
func (p *Program) Arithmetic(show Show) string { return p.tree.write(show) }

func infix(operator string, rank int, l, r typed) shown {
	return shown{text: operator, args: []shown{l.shown, r.shown}, rank: rank}
}

func powerShown(l, r typed) shown {
	if r.literal && r.value == 2 {
		return shown{text: "²", args: []shown{l.shown}, rank: rankPower}
	}
	return shown{text: "^", args: []shown{l.shown, r.shown}, rank: rankPower}
}

func (s shown) write(show Show) string {
	switch {
	case s.input != nil:
		return show(*s.input, nil)
	case s.formula != nil:
		return s.writeFormula(show)
	case len(s.args) == 0:
		return s.text
	case s.rank == rankCall:
		parts := make([]string, len(s.args))
		for i, a := range s.args {
			parts[i] = a.write(show)
		}
		return s.text + "(" + strings.Join(parts, ", ") + ")"
	case s.rank == rankChoice:
		return "if " + s.args[0].write(show) + " then " + s.args[1].write(show) + " else " + s.args[2].write(show)
	case s.rank == rankPower:
		base := s.args[0].inside(rankCall, show)
		if s.args[0].input != nil && strings.Contains(base, " ") {
			base = "(" + base + ")"
		}
		if len(s.args) == 1 {
			return base + s.text
		}
		return base + s.text + s.args[1].inside(rankCall, show)
	case s.tight:
		return s.text + s.args[0].inside(rankCall, show)
	case len(s.args) == 1:
		return s.text + s.args[0].inside(s.rank, show)
	}
	return s.args[0].inside(s.rank, show) + s.text + s.args[1].inside(s.rank+1, show)
}

// inside writes a part of something that binds with the given rank.
func (s shown) inside(rank int, show Show) string {
	text := s.write(show)
	if s.rank < rank {
		return "(" + text + ")"
	}
	return text
}

// writeFormula puts the arguments into the formula's own arithmetic when every
// parameter is named there, otherwise after its title.
func (s shown) writeFormula(show Show) string {
	words := make([]string, len(s.args))
	values := map[string]string{}
	for i, a := range s.args {
		words[i] = a.write(show)
		if i < len(s.formula.Names) {
			bare := a.inside(rankCall, show)
			if a.input != nil {
				bare = show(*a.input, &s.formula.Parameters[i].Unit)
			}
			values[strings.ToLower(s.formula.Names[i])] = bare
		}
	}
	found := map[string]bool{}
	text := word.ReplaceAllStringFunc(s.formula.Text, func(w string) string {
		value, ok := values[strings.ToLower(w)]
		if !ok {
			return w
		}
		found[strings.ToLower(w)] = true
		return value
	})
	if len(found) > 0 && len(found) == len(s.args) {
		return text
	}
	title := s.formula.Title
	if title == "" {
		title = s.formula.Name
	}
	return title + " (" + strings.Join(words, ", ") + ")"
}

var word = regexp.MustCompile(`[\pL_][\pL0-9_]*`)

// Template is a message with expressions in braces. {steps | grade} counts a
// noun: "one grade", "two grades". {low to high | mild, moderate, severe} names
// a range by the words of a list: "mild to moderate", or "mild" when both ends
// are 1.
type Template struct {
	parts []part
}

type part struct {
	text    string
	program *Program
	upTo    *Program // the other end, when the two name a range
	words   []string // what is counted, or the words the numbers stand for
}

// CompileTemplate reads a message; the error is an *Error whose offset counts
// from the start of the message.
func CompileTemplate(source string, scope Scope) (*Template, error) {
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
			return nil, &Error{Offset: at + open, Message: "brace never closed", Hint: "close it with }"}
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
func compilePart(inside string, scope Scope) (part, *Error) {
	var out part
	source, list, named := strings.Cut(inside, "|")
	from, to, isRange := strings.Cut(source, " to ")
	compile := func(source string, offset int) (*Program, *Error) {
		p, err := Compile(source, scope)
		if err != nil {
			fault := *err.(*Error)
			fault.Offset += offset
			return nil, &fault
		}
		if named && p.Unit.Code() != "1" {
			return nil, countFault(len(source))
		}
		return p, nil
	}
	var fault *Error
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
		if w == "" || !isRange && word.FindString(w) != w {
			return out, countFault(len(source) + 1)
		}
	}
	if isRange != (len(out.words) > 1) {
		return out, countFault(len(source) + 1)
	}
	return out, nil
}

func countFault(offset int) *Error {
	return &Error{Offset: offset, Message: "a count is a plain number and one noun, a range two plain numbers and a list of words",
		Hint: "write {steps | grade} or {low to high | mild, moderate, severe}"}
}

// Programs lists the expressions of the message in order.
func (t *Template) Programs() []*Program {
	var out []*Program
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

// Write fills in the message: named gives the words for a bare name, number
// those for a computed value.
func (t *Template) Write(named func(alias string) string, number func(x float64, unit ucum.Unit) string, values Values) string {
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
		if alias, ok := p.program.Alias(); ok {
			b.WriteString(named(alias))
			continue
		}
		b.WriteString(number(p.program.Eval(values), p.program.Unit))
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
