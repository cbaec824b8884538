// Package ucum owns units of measure (The Unified Code for Units of Measure)
// and the decimal numbers written with them. Conversions are exact rationals;
// no unit is ever guessed from the size of a number.
//
// It has no domain words: which unit a quantity should have is told by the
// measurand files.
package ucum

import "math/big"

// Dimension is the vector of base exponents of a unit.
type Dimension struct {
	Length, Mass, Time, Angle int8
}

// Unit is a parsed UCUM unit: its code, dimension and exact factor to the
// coherent unit of that dimension (m, g, s, rad). The zero Unit is "1".
type Unit struct {
	code   string
	dim    Dimension
	factor *big.Rat // nil means 1
}

// Code returns the UCUM code, "1" for the zero Unit.
func (u Unit) Code() string {
	if u.code == "" {
		return "1"
	}
	return u.code
}

// Dimension returns the base exponents.
func (u Unit) Dimension() Dimension { return u.dim }

// Decimal is a decimal number as written in a DICOM DS value: the text is kept
// and its exact rational value is known.
type Decimal struct {
	text string
	rat  *big.Rat
}

// Text returns the number as written.
func (d Decimal) Text() string { return d.text }

// IsZero reports whether the Decimal was never set.
func (d Decimal) IsZero() bool { return d.rat == nil }

// Quantity is a decimal number with a unit.
type Quantity struct {
	Value Decimal
	Unit  Unit
}
