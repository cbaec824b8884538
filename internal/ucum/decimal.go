package ucum

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"slices"
	"strconv"
	"strings"
)

// Decimal is a decimal number as written in a DICOM DS value: the text is kept
// and its exact value is known. The zero Decimal is no number.
type Decimal struct {
	text string
	// The value is digits times ten to the power, and the last digit as written
	// stands for ten to the power. Nearly every number fits; of the others the
	// exact value is kept.
	digits int64
	power  int
	exact  *ratio
}

// ratio is a number whose value or half step does not follow from few digits.
type ratio struct{ value, half *big.Rat }

// Text returns the number as written.
func (d Decimal) Text() string { return d.text }

// IsZero reports whether the Decimal was never set.
func (d Decimal) IsZero() bool { return d.text == "" }

// Rat returns the exact value, nil when the Decimal was never set. The caller
// must not write to it.
func (d Decimal) Rat() *big.Rat {
	switch {
	case d.IsZero():
		return nil
	case d.exact != nil:
		return d.exact.value
	}
	r := new(big.Rat).SetInt64(d.digits)
	if d.power == 0 {
		return r
	}
	return r.Mul(r, tenTo(d.power))
}

// Float returns the nearest binary float.
func (d Decimal) Float() float64 {
	if d.exact != nil {
		f, _ := d.exact.value.Float64()
		return f
	}
	// Both numbers are binary floats exactly, so that the quotient, which is
	// rounded once, is the nearest to the decimal.
	if d.power <= 0 && d.power >= -maxFloatPower {
		return float64(d.digits) / floatTens[-d.power]
	}
	f, _ := d.Rat().Float64()
	return f
}

// Abs returns the number without its minus sign.
func (d Decimal) Abs() Decimal {
	if d.IsZero() || d.digits > 0 || d.exact != nil && d.exact.value.Sign() >= 0 || d.exact == nil && d.digits == 0 {
		return d
	}
	d.text, d.digits = strings.TrimPrefix(d.text, "-"), -d.digits
	if d.exact != nil {
		d.exact = &ratio{value: new(big.Rat).Neg(d.exact.value), half: d.exact.half}
	}
	return d
}

// HalfStep returns half a unit of the last digit as written: 0.05 for "3.0",
// 0.5 for "36", 50 for "1e2". A converted number keeps the step of the number
// it came from, one from a binary float has that of its significand. The caller
// must not write to it.
func (d Decimal) HalfStep() *big.Rat {
	switch {
	case d.IsZero():
		return nil
	case d.exact != nil:
		return d.exact.half
	}
	return halfOf(d.power)
}

// HalfStepFloat is [Decimal.HalfStep] as the nearest binary float, 0 for no number.
func (d Decimal) HalfStepFloat() float64 {
	switch {
	case d.IsZero():
		return 0
	case d.exact == nil && d.power <= 0 && d.power > -maxFloatPower:
		return 5 / floatTens[1-d.power] // rounded once, as in Float
	}
	f, _ := d.HalfStep().Float64()
	return f
}

// Numbers of so many digits, and powers of ten up to this one, are binary floats
// exactly.
const (
	maxDigits     = 15
	maxFloatPower = 15
)

var floatTens = [maxFloatPower + 1]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

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
	if d, ok := short(text, plain); ok {
		return d, notes, nil
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
	return Decimal{text: text, exact: &ratio{value: r, half: halfOf(exponent - len(fraction))}}, notes, nil
}

// short reads the form [+-]digits[.digits] with few digits.
func short(text, plain string) (Decimal, bool) {
	d := Decimal{text: text}
	rest, negative := plain, false
	if rest[0] == '-' || rest[0] == '+' {
		rest, negative = rest[1:], rest[0] == '-'
	}
	count, point := 0, false
	for i := range len(rest) {
		switch c := rest[i]; {
		case c == '.' && !point:
			point = true
		case c >= '0' && c <= '9' && count < maxDigits:
			d.digits = 10*d.digits + int64(c-'0')
			count++
			if point {
				d.power--
			}
		default:
			return Decimal{}, false
		}
	}
	if negative {
		d.digits = -d.digits
	}
	return d, count > 0
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
	return Decimal{text: text, exact: &ratio{value: r, half: half}}, nil
}

// In returns the quantity's number in another unit.
func (q Quantity) In(to Unit) (*big.Rat, error) {
	factor, err := q.Unit.FactorTo(to)
	if err != nil {
		return nil, err
	}
	return factor.Mul(factor, q.Value.Rat()), nil
}

// Float returns the binary float nearest to the quantity's number in another
// unit.
func (q Quantity) Float(to Unit) (float64, error) {
	if q.Unit.Code() == to.Code() {
		return q.Value.Float(), nil
	}
	x, err := q.In(to)
	if err != nil {
		return 0, err
	}
	f, _ := x.Float64()
	return f, nil
}

// To converts the quantity. The value and its half step are exact; the text has
// as many decimals as the half step bears: 290 cm/s becomes 2.90 m/s.
func (q Quantity) To(to Unit) (Quantity, error) {
	if q.Unit.Code() == to.Code() {
		return Quantity{Value: q.Value, Unit: to}, nil
	}
	if q.Unit.Convertible(to) && (q.Unit.isTen && to.isTen && q.Unit.ten == to.ten || q.Unit.Same(to)) { // mL and cm3
		return Quantity{Value: q.Value, Unit: to}, nil
	}
	if value, ok := q.shifted(to); ok {
		return Quantity{Value: value, Unit: to}, nil
	}
	factor, err := q.Unit.FactorTo(to)
	if err != nil {
		return Quantity{}, err
	}
	return Quantity{Value: converted(new(big.Rat).Mul(factor, q.Value.Rat()), new(big.Rat).Mul(factor, q.Value.HalfStep())), Unit: to}, nil
}

// shifted converts by moving the decimal point, where that is all there is to it.
func (q Quantity) shifted(to Unit) (Decimal, bool) {
	d, by := q.Value, int(q.Unit.ten)-int(to.ten)
	if !q.Unit.isTen || !to.isTen || !q.Unit.Convertible(to) || by == 0 || d.IsZero() || d.exact != nil || d.digits < 0 {
		return Decimal{}, false
	}
	d.power += by
	if d.power > 0 || d.power < 2-maxDigits {
		return Decimal{}, false
	}
	text := strconv.AppendInt(make([]byte, 0, 2*maxDigits), d.digits, 10)
	if short := 1 - d.power - len(text); short > 0 { // 0.05 has a zero before the point and one behind
		text = append([]byte("000000000000000")[:short], text...)
	}
	if d.power < 0 {
		text = slices.Insert(text, len(text)+d.power, '.')
	}
	if len(text) > maxDigits {
		return Decimal{}, false
	}
	d.text = string(text)
	return d, true
}

// converted is a number with a text of its own. A number that its text tells
// whole is the same as the one read from the text.
func converted(value, half *big.Rat) Decimal {
	text := value.FloatString(decimals(half))
	if d, _, err := ParseDecimal(text); err == nil && d.is(value, half) {
		return d
	}
	return Decimal{text: text, exact: &ratio{value: value, half: half}}
}

func (d Decimal) is(value, half *big.Rat) bool {
	return d.Rat().Cmp(value) == 0 && d.HalfStep().Cmp(half) == 0
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
	if d.exact == nil {
		return d.text
	}
	value, half := d.exact.value, d.exact.half
	if again, _, err := ParseDecimal(d.text); err == nil && again.is(value, half) {
		return d.text
	}
	return d.text + "|" + value.RatString() + "|" + half.RatString()
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
	d := Decimal{text: text, exact: &ratio{value: new(big.Rat), half: new(big.Rat)}}
	for _, part := range []struct {
		to   *big.Rat
		from string
	}{{d.exact.value, value}, {d.exact.half, half}} {
		if _, ok := part.to.SetString(part.from); !ok {
			return Decimal{}, fmt.Errorf("%s is no exact number", quote(part.from))
		}
	}
	return d, nil
}
