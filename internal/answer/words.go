package answer

import (
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"echotally/internal/expr"
	"echotally/internal/question"
	"echotally/internal/rule"
	"echotally/internal/ucum"
)

// legible writes a computed number in the unit people use for its kind when the
// arithmetic left a product of several, such as mm²·cm.
func legible(x float64, unit ucum.Unit) string {
	if strings.Contains(unit.Code(), ".") {
		for _, code := range []string{"mL", "cm2", "cm", "ms", "cm/s", "mm[Hg]"} {
			u, err := ucum.Parse(code)
			if err != nil || u.Dimension() != unit.Dimension() {
				continue
			}
			if f, err := unit.FactorTo(u); err == nil {
				factor, _ := f.Float64()
				return WithUnit(x*factor, u)
			}
		}
	}
	return WithUnit(x, unit)
}

// bare is a number without its unit: as written when it was written in that
// unit, otherwise converted.
func (a *Answers) bare(in expr.Input, to ucum.Unit) string {
	var from ucum.Unit
	if b := a.Binding(in.Name); b != nil {
		if q := b.Chosen.Measurement; q != nil && in.Question == nil && q.Quantity.Unit.Code() == to.Code() {
			return readable(b.Chosen.Written())
		}
		from = b.Alias.Unit
	} else if p, ok := a.Rule.Parameters[in.Name]; ok {
		from = p.Unit
	}
	factor, err := from.FactorTo(to)
	if err != nil {
		return Plain(a.Value(&in))
	}
	f, _ := factor.Float64()
	return Plain(a.Value(&in) * f)
}

// named is a name's value as it stands in the record, or a parameter's.
func (a *Answers) named(name string) string {
	if b := a.Binding(name); b != nil {
		return b.Chosen.Text(b.Alias.Unit)
	}
	if p, ok := a.Rule.Parameters[name]; ok {
		if _, d := a.Parameter(p); !d.IsZero() {
			return join(d.Text(), p.Unit)
		}
		return "unknown"
	}
	return name + " " + Plain(a.Value(&expr.Input{Name: name}))
}

// Text is the value as written, with its unit; in the unit of the alias when
// it was not written at all.
func (i Item) Text(unit ucum.Unit) string {
	switch {
	case math.IsNaN(i.X):
		return "not recorded"
	case i.Measurement == nil:
		return WithUnit(i.X, unit)
	}
	return join(readable(i.Written()), i.Measurement.Quantity.Unit)
}

// Written is the number as written, but for a minus sign that only told the
// direction of a flow: the arithmetic is done without it.
func (i Item) Written() ucum.Decimal {
	if i.X >= 0 {
		return i.Measurement.Quantity.Value.Abs()
	}
	return i.Measurement.Quantity.Value
}

// readable is the number as written, or four significant digits of it when a
// machine wrote it with all its digits. The evidence holds every digit.
func readable(d ucum.Decimal) string {
	const enough = 6
	if significantDigits(d.Text()) <= enough {
		return d.Text()
	}
	return significant(d.Float(), 4)
}

// significantDigits counts the digits of a written number between its first and
// its last that is not nought.
func significantDigits(text string) int {
	n, trailing := 0, 0
	for i := range len(text) {
		switch c := text[i]; {
		case c == '.' || c == '-' || c == '+':
		case c != '0' && c != ' ':
			n, trailing = n+1, 0
		case n > 0:
			n, trailing = n+1, trailing+1
		}
	}
	return n - trailing
}

// Arithmetic writes an expression with the values of this study in it.
func (a *Answers) Arithmetic(p *expr.Program) string { return p.Arithmetic(a.shown) }

func (a *Answers) shown(in expr.Input, unit *ucum.Unit) string {
	q := in.Question
	switch {
	case unit != nil:
		return a.bare(in, *unit)
	case q == nil:
		return a.named(in.Name)
	}
	words, told := q.Words, question.Answer{Detail: in.Detail}
	of, own := q.Unit()
	if b := a.Binding(in.Name); b != nil {
		told.Title = b.Alias.Title()
		if !own {
			of = b.Alias.Unit
		}
	} else if g := a.gallery(in.Name); g != nil {
		words, told.Title = q.WordsImages, g.alias.Title()
	} else if s, ok := a.Rule.Statements[in.Name]; ok {
		told.Title = s.Title()
	}
	told.Number = Plain(a.Value(&in))
	told.Value = join(told.Number, of)
	return told.Tell(words)
}

// WithUnit writes a computed number with three significant digits and its unit.
func WithUnit(x float64, unit ucum.Unit) string { return join(Plain(x), unit) }

// Plain writes a computed number with three significant digits.
func Plain(x float64) string { return significant(x, 3) }

// significant writes a number with n significant digits, whole when it is
// large.
func significant(x float64, n int) string {
	switch {
	case math.IsNaN(x):
		return "unknown"
	case x == 0:
		return "0"
	}
	decimals := min(max(n-1-int(math.Floor(math.Log10(math.Abs(x)))), 0), 6)
	s := strconv.FormatFloat(x, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

func join(number string, unit ucum.Unit) string {
	switch u := unit.Display(); u {
	case "":
		return number
	case "%", "°":
		return number + u
	default:
		return number + " " + u
	}
}

// Capital begins a sentence. Names of foreign scanners may begin with any letter.
func Capital(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(first)) + s[size:]
}

// Titles writes statements as alternatives.
func Titles(said []*rule.Said) string {
	parts := make([]string, len(said))
	for i, s := range said {
		parts[i] = s.Title()
	}
	return strings.Join(parts, " or ")
}
