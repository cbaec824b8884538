package ucum

import (
	"fmt"
	"math/big"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
)

// Bounds of a unit code: longer, deeper or higher ones are refused, so that a
// foreign text costs little.
const (
	maxCode     = 64
	maxDepth    = 8
	maxExponent = 100
)

// part is one factor of a unit: a symbol with prefix, or a whole number, to a
// power.
type part struct {
	symbol   string
	exponent int
}

// Parse reads a UCUM code strictly (case sensitive subset: prefix, atom,
// exponent, '.', '/', annotations, parentheses).
func Parse(code string) (Unit, error) {
	if u, ok := parsed.Load(code); ok {
		return u.(Unit), nil
	}
	parts, err := parse(code)
	if err != nil {
		return Unit{}, fmt.Errorf("unit %s: %w", quote(code), err)
	}
	u := build(parts)
	u.code = strings.Clone(code)
	if parsedCount.Add(1) <= maxParsed {
		parsed.Store(u.code, u)
	}
	return u, nil
}

// A unit is parsed once: they are few, and each comes thousands of times. What a
// foreign file can add is bounded.
var (
	parsed      sync.Map // code to Unit
	parsedCount atomic.Int64
)

const maxParsed = 1000

// quote shortens what came from a file.
func quote(s string) string {
	if len(s) > maxCode {
		s = s[:maxCode] + "..."
	}
	return strconv.Quote(s)
}

type parser struct {
	text  string
	at    int
	depth int
}

func parse(code string) ([]part, error) {
	if code == "" {
		return nil, fmt.Errorf("empty")
	}
	if len(code) > maxCode {
		return nil, fmt.Errorf("longer than %d characters", maxCode)
	}
	p := &parser{text: code}
	parts, err := p.term()
	if err != nil {
		return nil, err
	}
	if p.at < len(code) {
		return nil, fmt.Errorf("%q not expected at character %d", code[p.at:p.at+1], p.at+1)
	}
	return parts, nil
}

func (p *parser) peek() byte {
	if p.at < len(p.text) {
		return p.text[p.at]
	}
	return 0
}

// term reads components joined by '.' and '/'; '/' divides by the next
// component only.
func (p *parser) term() ([]part, error) {
	if p.depth++; p.depth > maxDepth {
		return nil, fmt.Errorf("nested too deep")
	}
	defer func() { p.depth-- }()
	var all []part
	sign := 1
	if p.peek() == '/' {
		p.at++
		sign = -1
	}
	for {
		parts, err := p.component()
		if err != nil {
			return nil, err
		}
		for _, q := range parts {
			all = append(all, part{q.symbol, sign * q.exponent})
		}
		switch p.peek() {
		case '.':
			sign = 1
		case '/':
			sign = -1
		default:
			return all, nil
		}
		p.at++
	}
}

func (p *parser) component() ([]part, error) {
	switch c := p.peek(); {
	case c == '(':
		p.at++
		parts, err := p.term()
		if err != nil {
			return nil, err
		}
		if p.peek() != ')' {
			return nil, fmt.Errorf("parenthesis not closed")
		}
		p.at++
		return parts, p.annotation()
	case c == '{':
		return nil, p.annotation()
	case strings.HasPrefix(p.text[p.at:], brokenPower) && !isDigit(p.after(len(brokenPower))):
		p.at += len(brokenPower)
		return []part{{brokenPower, 1}}, p.annotation()
	case c >= '0' && c <= '9' && !p.tenPower():
		return p.number()
	}
	return p.simple()
}

func (p *parser) after(n int) byte {
	if p.at+n < len(p.text) {
		return p.text[p.at+n]
	}
	return 0
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

func (p *parser) tenPower() bool {
	rest := p.text[p.at:]
	return strings.HasPrefix(rest, "10*") || strings.HasPrefix(rest, "10^")
}

// number reads a whole number used as a factor.
func (p *parser) number() ([]part, error) {
	digits := p.digits()
	if strings.Trim(digits, "0") == "" {
		return nil, fmt.Errorf("factor 0")
	}
	return []part{{strings.TrimLeft(digits, "0"), 1}}, p.annotation()
}

func (p *parser) digits() string {
	start := p.at
	for isDigit(p.peek()) {
		p.at++
	}
	return p.text[start:p.at]
}

// simple reads a symbol and its exponent.
func (p *parser) simple() ([]part, error) {
	start := p.at
	if p.tenPower() {
		p.at += 3
	} else if err := p.symbol(); err != nil {
		return nil, err
	}
	symbol := p.text[start:p.at]
	if symbol == "" {
		return nil, fmt.Errorf("unit missing at character %d", p.at+1)
	}
	if _, _, ok := lookup(symbol); !ok {
		return nil, fmt.Errorf("%s is not known", quote(symbol))
	}
	exponent, err := p.exponent()
	if err != nil {
		return nil, err
	}
	return []part{{symbol, exponent}}, p.annotation()
}

// symbol moves behind a symbol; digits and signs belong to it only inside
// square brackets.
func (p *parser) symbol() error {
	for p.at < len(p.text) {
		c := p.peek()
		if c == '[' {
			end := strings.IndexByte(p.text[p.at:], ']')
			if end < 0 {
				return fmt.Errorf("bracket not closed")
			}
			p.at += end + 1
			continue
		}
		if c <= ' ' || c > '~' || isDigit(c) || strings.IndexByte("./(){}]+-*^", c) >= 0 {
			return nil
		}
		p.at++
	}
	return nil
}

func (p *parser) exponent() (int, error) {
	start := p.at
	if c := p.peek(); c == '+' || c == '-' {
		p.at++
	}
	digits := p.digits()
	if digits == "" {
		if p.at > start {
			return 0, fmt.Errorf("exponent without digits")
		}
		return 1, nil
	}
	n, err := strconv.Atoi(p.text[start:p.at])
	if err != nil || n > maxExponent || n < -maxExponent {
		return 0, fmt.Errorf("exponent beyond %d", maxExponent)
	}
	return n, nil
}

// annotation skips text in braces, which says what is counted and changes
// nothing.
func (p *parser) annotation() error {
	if p.peek() != '{' {
		return nil
	}
	end := strings.IndexByte(p.text[p.at:], '}')
	if end < 0 {
		return fmt.Errorf("annotation not closed")
	}
	p.at += end + 1
	return nil
}

// build computes dimension and factor of known parts.
func build(parts []part) Unit {
	factor := big.NewRat(1, 1)
	var total [9]int
	for _, q := range parts {
		f, d, ok := lookup(q.symbol)
		if !ok {
			f = rational(q.symbol) // a whole number
		}
		if q.exponent != 1 {
			f = raise(f, q.exponent)
		}
		factor.Mul(factor, f)
		for i, n := range [9]int8{d.Length, d.Mass, d.Time, d.Angle, d.BrokenPower, d.Charge, d.Temperature, d.Light, d.Special} {
			total[i] += int(n) * q.exponent
		}
	}
	u := Unit{
		dim: Dimension{clamp(total[0]), clamp(total[1]), clamp(total[2]), clamp(total[3]), clamp(total[4]),
			clamp(total[5]), clamp(total[6]), clamp(total[7]), clamp(total[8])},
		factor: factor,
	}
	u.ten, u.isTen = powerOfTen(factor)
	return u
}

// powerOfTen returns the exponent of a factor that is ten to a small power.
func powerOfTen(factor *big.Rat) (int8, bool) {
	n, sign := factor.Num(), int8(1)
	if !factor.IsInt() {
		if !n.IsInt64() || n.Int64() != 1 {
			return 0, false
		}
		n, sign = factor.Denom(), -1
	}
	if !n.IsInt64() {
		return 0, false
	}
	power, rest := int8(0), n.Int64()
	for ; rest > 0 && rest%10 == 0; rest /= 10 {
		power++
	}
	return sign * power, rest == 1
}

// clamp holds an exponent in its type; nothing measurable comes near.
func clamp(n int) int8 { return int8(max(-127, min(127, n))) }

// raise returns f to the n.
func raise(f *big.Rat, n int) *big.Rat {
	e := big.NewInt(int64(max(n, -n)))
	r := new(big.Rat).SetFrac(new(big.Int).Exp(f.Num(), e, nil), new(big.Int).Exp(f.Denom(), e, nil))
	if n < 0 {
		r.Inv(r)
	}
	return r
}
