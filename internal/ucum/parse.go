package ucum

import (
	"errors"
	"math/big"
)

// Parse reads a UCUM code strictly (case sensitive subset: prefix, atom,
// exponent, '.', '/', annotations, parentheses).
func Parse(code string) (Unit, error) { return Unit{}, errors.New("stub") }

// Recognize reads the unit of a measurement as scanners send it: a UCUM code,
// or one of the known wrong spellings ("mmHg", "cm^2", "bpm", "no units"), in
// which case alias is true and must be reported.
func Recognize(codeValue, codingSchemeDesignator, codeMeaning string) (u Unit, alias bool, err error) {
	return Unit{}, false, errors.New("stub")
}

// ParseDecimal reads a DS text leniently (padding, leading +, exponent, decimal
// comma); departures come back as notes. NaN, infinities and empty texts are
// errors.
func ParseDecimal(ds string) (d Decimal, notes []string, err error) {
	return Decimal{}, nil, errors.New("stub")
}

// Rat returns the exact value.
func (d Decimal) Rat() *big.Rat { return d.rat }

// Float returns the nearest binary float.
func (d Decimal) Float() float64 { f, _ := d.rat.Float64(); return f }

// HalfStep returns half a unit of the last digit as written: 0.05 for "3.0",
// 0.5 for "36", 50 for "1e2".
func (d Decimal) HalfStep() *big.Rat { return nil }

// Convertible reports whether the two units have the same dimension.
func (u Unit) Convertible(to Unit) bool { return u.dim == to.dim }

// FactorTo returns the exact factor by which a number in u is multiplied to be
// in to.
func (u Unit) FactorTo(to Unit) (*big.Rat, error) { return nil, errors.New("stub") }

// Mul, Div and Pow combine units; the code is composed.
func (u Unit) Mul(v Unit) Unit { return Unit{} }

// Div returns u/v.
func (u Unit) Div(v Unit) Unit { return Unit{} }

// Pow returns u to the n.
func (u Unit) Pow(n int) Unit { return Unit{} }

// In returns the quantity's number in another unit.
func (q Quantity) In(to Unit) (*big.Rat, error) { return nil, errors.New("stub") }
