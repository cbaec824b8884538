package ucum

import (
	"fmt"
	"math/big"
	"strconv"
	"strings"
	"sync"
)

// Convertible reports whether the two units have the same dimension.
func (u Unit) Convertible(to Unit) bool { return u.dim == to.dim }

// Same reports whether the two units are equal in size, however they are
// written: mL and cm3.
func (u Unit) Same(v Unit) bool {
	if u.dim != v.dim {
		return false
	}
	if u.factor == nil || v.factor == nil {
		return u.rat().Cmp(v.rat()) == 0
	}
	// Both are in lowest terms, and comparing these makes no new numbers.
	return u.factor == v.factor || u.factor.Num().Cmp(v.factor.Num()) == 0 && u.factor.Denom().Cmp(v.factor.Denom()) == 0
}

func (u Unit) rat() *big.Rat {
	if u.factor == nil {
		return big.NewRat(1, 1)
	}
	return u.factor
}

// FactorTo returns the exact factor by which a number in u is multiplied to be
// in to.
func (u Unit) FactorTo(to Unit) (*big.Rat, error) {
	if !u.Convertible(to) {
		return nil, fmt.Errorf("%s cannot be converted to %s: different dimensions", u.Code(), to.Code())
	}
	if u.Code() == to.Code() {
		return big.NewRat(1, 1), nil
	}
	return new(big.Rat).Quo(u.rat(), to.rat()), nil
}

// Mul, Div and Pow combine units. The code is composed of the operands'
// symbols, without their annotations; when the result is exactly one of the
// usual units it gets that code, so cm2 times cm is mL. No exponent goes beyond
// ±100.
func (u Unit) Mul(v Unit) Unit { return compose(u.parts(1), v.parts(1)) }

// Div returns u/v.
func (u Unit) Div(v Unit) Unit { return compose(u.parts(1), v.parts(-1)) }

// Pow returns u to the n.
func (u Unit) Pow(n int) Unit { return compose(u.parts(n)) }

// parts returns the factors of the unit with exponents times n.
func (u Unit) parts(n int) []part {
	p := &parser{text: u.Code()}
	parts, err := p.term()
	if err != nil {
		panic("internal error: unit does not parse again: " + u.Code())
	}
	for i := range parts {
		parts[i].exponent = bound(bound(parts[i].exponent) * bound(n))
	}
	return parts
}

// usual lists the units a composed unit is named after, the most usual first.
var usual = []string{
	"1", "mL", "L", "cm", "cm2", "m2", "mm", "mm2", "m/s", "cm/s", "cm/s2", "m/s2", "s", "ms", "/min", "/s",
	"mm[Hg]", "mm[Hg]/s", "[wood'U]", "[wood'U].m2", "dyn.s/cm5", "g", "kg", "kg/m2", "g/m2", "mL/m2", "L/min", "L/min/m2", "mL/s",
}

// usualUnits are the same, parsed once.
var usualUnits = sync.OnceValue(func() []Unit {
	out := make([]Unit, len(usual))
	for i, code := range usual {
		out[i], _ = Parse(code) // a test parses them all
	}
	return out
})

// compose multiplies factors. Equal symbols are joined.
func compose(lists ...[]part) Unit {
	var joined []part
	for _, list := range lists {
		for _, q := range list {
			if q.symbol != "1" {
				joined = join(joined, q)
			}
		}
	}
	u := build(joined)
	for _, v := range usualUnits() {
		if u.Same(v) {
			return v
		}
	}
	u.code = render(joined)
	return u
}

func bound(n int) int { return max(-maxExponent, min(maxExponent, n)) }

func join(parts []part, q part) []part {
	for i := range parts {
		if parts[i].symbol == q.symbol {
			parts[i].exponent = bound(parts[i].exponent + q.exponent)
			return parts
		}
	}
	return append(parts, q)
}

// render writes parts as UCUM: products first, then each divisor.
func render(parts []part) string {
	var above, below strings.Builder
	for _, q := range parts {
		n := max(q.exponent, -q.exponent)
		if n == 0 {
			continue
		}
		out, operator := &above, "."
		if q.exponent < 0 {
			out, operator = &below, "/"
		}
		repeat := 1
		text := q.symbol
		switch {
		case n == 1:
		case isDigit(q.symbol[0]) || q.symbol == brokenPower: // takes no exponent
			repeat = n
		default:
			text += strconv.Itoa(n)
		}
		for range repeat {
			out.WriteString(operator + text)
		}
	}
	return strings.TrimPrefix(above.String(), ".") + below.String()
}

// shown replaces UCUM symbols by what people write.
var shown = map[string]string{
	"mm[Hg]": "mmHg", "m[Hg]": "mHg", "cm[H2O]": "cmH₂O", "[wood'U]": "WU", "[PRU]": "PRU", "deg": "°", "l": "L", "ml": "mL",
	"[in_i]": "in", "[ft_i]": "ft", "[lb_av]": "lb", "[oz_av]": "oz", "a": "years", "mo": "months", "wk": "weeks", "d": "days",
	"um": "µm", "us": "µs", "[pi]": "π", brokenPower: "m^2.7",
}

// Display returns the unit as people write it: "mmHg", "cm²", "mL/m²", "" for
// a pure number.
func (u Unit) Display() string {
	code := u.Code()
	var b strings.Builder
	for i := 0; i < len(code); {
		switch c := code[i]; {
		case c == '{':
			end := i + strings.IndexByte(code[i:], '}')
			if text := code[i+1 : end]; text == "H.B." || text == "beat" || text == "beats" {
				b.WriteString("beats")
			}
			i = end + 1
		case c == '.':
			b.WriteString("·")
			i++
		case strings.IndexByte("/()", c) >= 0:
			b.WriteByte(c)
			i++
		default:
			n := componentLength(code[i:])
			b.WriteString(displaySymbol(code[i : i+n]))
			i += n
		}
	}
	if b.String() == "1" {
		return ""
	}
	return strings.TrimPrefix(b.String(), "1·")
}

// componentLength is the length of the symbol and exponent a code starts with.
func componentLength(code string) int {
	if strings.HasPrefix(code, brokenPower) {
		return len(brokenPower)
	}
	p := &parser{text: code}
	if p.tenPower() {
		p.at = 3
	} else {
		_ = p.symbol() // the code was parsed before
	}
	if c := p.peek(); c == '-' || c == '+' {
		p.at++
	}
	p.digits()
	return max(p.at, 1)
}

var superscripts = strings.NewReplacer("0", "⁰", "1", "¹", "2", "²", "3", "³", "4", "⁴", "5", "⁵", "6", "⁶", "7", "⁷", "8", "⁸", "9", "⁹", "-", "⁻", "+", "")

func displaySymbol(text string) string {
	if text == brokenPower {
		return shown[brokenPower]
	}
	symbol, exponent := strings.TrimRight(text, "0123456789+-"), ""
	if rest, ok := strings.CutPrefix(text, "10*"); ok {
		return "10" + superscripts.Replace(rest)
	}
	if symbol == "" {
		return text // a whole number
	}
	exponent = text[len(symbol):]
	if s, ok := shown[symbol]; ok {
		symbol = s
	}
	return symbol + superscripts.Replace(exponent)
}
