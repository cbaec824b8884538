package ucum

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"
)

// Decimal is a decimal number as written in a DICOM DS value: the text is kept
// and its exact rational value is known.
type Decimal struct {
	text string
	rat  *big.Rat
	half *big.Rat // half a unit of the last digit
}

// Text returns the number as written.
func (d Decimal) Text() string { return d.text }

// IsZero reports whether the Decimal was never set.
func (d Decimal) IsZero() bool { return d.rat == nil }

// Rat returns the exact value.
func (d Decimal) Rat() *big.Rat { return d.rat }

// Float returns the nearest binary float.
func (d Decimal) Float() float64 { f, _ := d.rat.Float64(); return f }

// Abs returns the number without its minus sign.
func (d Decimal) Abs() Decimal {
	if d.rat == nil || d.rat.Sign() >= 0 {
		return d
	}
	return Decimal{text: strings.TrimPrefix(d.text, "-"), rat: new(big.Rat).Neg(d.rat), half: d.half}
}

// HalfStep returns half a unit of the last digit as written: 0.05 for "3.0",
// 0.5 for "36", 50 for "1e2". A converted number keeps the step of the number
// it came from, one from a binary float has that of its significand.
func (d Decimal) HalfStep() *big.Rat { return d.half }

// Bounds of a number's text: PS3.5 Section 6.2 gives a DS 16 bytes; longer ones
// occur and are read.
const (
	dsLength    = 16
	maxText     = 64
	maxTenPower = 300
)

// ParseDecimal reads a DS text leniently (padding, leading +, exponent, decimal
// comma); departures come back as notes. NaN, infinities and empty texts are
// errors.
func ParseDecimal(ds string) (d Decimal, notes []string, err error) {
	text := strings.Trim(ds, " \x00\t\r\n")
	switch {
	case text == "":
		return Decimal{}, nil, errors.New("no number: the text is empty")
	case len(text) > maxText:
		return Decimal{}, nil, fmt.Errorf("number of %d characters: longer than %d", len(text), maxText)
	}
	if strings.ContainsAny(ds, "\x00\t\r\n") {
		notes = append(notes, "padded with control characters")
	}
	if len(text) > dsLength {
		notes = append(notes, fmt.Sprintf("%d characters where 16 are allowed", len(text)))
	}
	plain := text
	if strings.Count(text, ",") == 1 && !strings.Contains(text, ".") {
		plain = strings.Replace(text, ",", ".", 1)
		notes = append(notes, "decimal comma")
	}
	mantissa, exponent, err := split(plain)
	if err != nil {
		return Decimal{}, nil, fmt.Errorf("%s is not a decimal number", quote(text))
	}
	_, fraction, _ := strings.Cut(mantissa, ".")
	r, ok := new(big.Rat).SetString(mantissa)
	if !ok {
		return Decimal{}, nil, fmt.Errorf("%s is not a decimal number", quote(text))
	}
	if exponent != 0 {
		r.Mul(r, tenTo(exponent))
	}
	half := halfOf(exponent - len(fraction))
	return Decimal{text: text, rat: r, half: half}, notes, nil
}

// halfSteps are the halves of 1, 0.1, 0.01 and so on, which nearly every number
// needs. Nobody writes to a half step.
var halfSteps = func() (out [dsLength]*big.Rat) {
	for n := range out {
		out[n] = new(big.Rat).Mul(big.NewRat(1, 2), tenTo(-n))
	}
	return out
}()

// halfOf is half of ten to the power n.
func halfOf(n int) *big.Rat {
	if n <= 0 && -n < len(halfSteps) {
		return halfSteps[-n]
	}
	return new(big.Rat).Mul(big.NewRat(1, 2), tenTo(n))
}

var errNumber = errors.New("not a decimal number")

// split checks the form [+-]digits[.digits][e[+-]digits] and returns mantissa
// and exponent.
func split(s string) (mantissa string, exponent int, err error) {
	mantissa = s
	if i := strings.IndexAny(s, "eE"); i >= 0 {
		mantissa = s[:i]
		exponent, err = strconv.Atoi(s[i+1:])
		if err != nil || exponent > maxTenPower || exponent < -maxTenPower {
			return "", 0, errNumber
		}
	}
	digits := strings.TrimLeft(mantissa, "+-")
	if len(mantissa)-len(digits) > 1 {
		return "", 0, errNumber
	}
	whole, fraction, _ := strings.Cut(digits, ".")
	if whole+fraction == "" || strings.Trim(whole+fraction, "0123456789") != "" {
		return "", 0, errNumber
	}
	return mantissa, exponent, nil
}

func tenTo(n int) *big.Rat { return raise(big.NewRat(10, 1), n) }

// FromFloat returns the decimal a binary float stands for (Floating Point
// Value, VR FD). Devices compute in single precision and widen the result, so
// a float that fits single precision counts as one: its text and value are the
// shortest decimal that is read back as the same float, 2.9 and not
// 2.9000000953674316. Its half step is half a unit of the last binary digit. NaN
// and infinities are errors.
func FromFloat(f float64) (Decimal, error) {
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return Decimal{}, fmt.Errorf("%v is not a number", f)
	}
	bits, significand := 64, 53
	if float64(float32(f)) == f {
		bits, significand = 32, 24
	}
	text := strconv.FormatFloat(f, 'g', -1, bits)
	r, ok := new(big.Rat).SetString(text)
	if !ok {
		return Decimal{}, fmt.Errorf("%s is not a number", text)
	}
	half := new(big.Rat).Quo(new(big.Rat).Abs(r), new(big.Rat).SetInt(new(big.Int).Lsh(big.NewInt(1), uint(significand))))
	return Decimal{text: text, rat: r, half: half}, nil
}

// In returns the quantity's number in another unit.
func (q Quantity) In(to Unit) (*big.Rat, error) {
	factor, err := q.Unit.FactorTo(to)
	if err != nil {
		return nil, err
	}
	return factor.Mul(factor, q.Value.rat), nil
}

// To converts the quantity. The value and its half step are exact; the text has
// as many decimals as the half step bears: 290 cm/s becomes 2.90 m/s.
func (q Quantity) To(to Unit) (Quantity, error) {
	factor, err := q.Unit.FactorTo(to)
	if err != nil {
		return Quantity{}, err
	}
	if factor.Cmp(big.NewRat(1, 1)) == 0 {
		return Quantity{Value: q.Value, Unit: to}, nil
	}
	d := Decimal{rat: new(big.Rat).Mul(factor, q.Value.rat), half: new(big.Rat).Mul(factor, q.Value.half)}
	d.text = d.rat.FloatString(decimals(d.half))
	return Quantity{Value: d, Unit: to}, nil
}

// maxDecimals bounds the text of a converted number.
const maxDecimals = 15

// decimals returns how many decimals a number with this half step bears.
func decimals(half *big.Rat) int {
	step := new(big.Rat).Add(half, half)
	for n := range maxDecimals {
		if step.Cmp(tenTo(-n)) >= 0 {
			return n
		}
	}
	return maxDecimals
}

// Exact writes the decimal down so that [ParseExact] gives the same again: its
// text, followed by value and half step where these do not follow from it.
func (d Decimal) Exact() string {
	if d.rat == nil {
		return ""
	}
	if again, _, err := ParseDecimal(d.text); err == nil && again.rat.Cmp(d.rat) == 0 && again.half.Cmp(d.half) == 0 {
		return d.text
	}
	return d.text + "|" + d.rat.RatString() + "|" + d.half.RatString()
}

// ParseExact reads what [Decimal.Exact] wrote.
func ParseExact(s string) (Decimal, error) {
	text, rest, long := strings.Cut(s, "|")
	if !long {
		if s == "" {
			return Decimal{}, nil
		}
		d, _, err := ParseDecimal(s)
		return d, err
	}
	value, half, _ := strings.Cut(rest, "|")
	d := Decimal{text: text, rat: new(big.Rat), half: new(big.Rat)}
	for _, part := range []struct {
		to   *big.Rat
		from string
	}{{d.rat, value}, {d.half, half}} {
		if _, ok := part.to.SetString(part.from); !ok {
			return Decimal{}, fmt.Errorf("%s is no exact number", quote(part.from))
		}
	}
	return d, nil
}
