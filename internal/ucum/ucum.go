// Package ucum owns units of measure (The Unified Code for Units of Measure)
// and the decimal numbers written with them. Conversions are exact rationals;
// no unit is ever guessed from the size of a number.
//
// It reads the part of UCUM that reports of the bedside and the laboratory use:
// metric prefixes, lengths, masses, times, plane angles, charges, temperatures,
// light, amounts of substance and what is made of them. A unit on a scale without
// a factor (degree Celsius, decibel, pH) or defined by an assay is read, and
// converts to nothing but itself. Two things differ from UCUM on purpose:
//
//   - "m2.7" is metre to the power 2.7 (body height when a mass is indexed to
//     it). UCUM has no broken exponents and would read seven square metres. The
//     power is a base of its own, so nothing but itself converts to it.
//   - The factor of "deg" holds pi, for which UCUM's own printed decimal is
//     taken; degrees to degrees is exact, degrees to radians within 1e-64.
//
// It has no domain words: which unit a quantity should have is told by the
// measurand files.
package ucum

import "math/big"

// Dimension is the vector of base exponents of a unit.
type Dimension struct {
	Length, Mass, Time, Angle int8
	BrokenPower               int8 // of metre to the power 2.7

	Charge, Temperature, Light int8
	Special                    int8 // a scale without a factor, or a unit of an assay: each its own number
}

// Unit is a parsed UCUM unit: its code, dimension and exact factor to the
// coherent unit of that dimension (m, g, s, rad). The zero Unit is "1".
type Unit struct {
	code   string
	dim    Dimension
	factor *big.Rat // nil means 1
	ten    int8     // the factor is ten to this power, if isTen
	isTen  bool
}

// Code returns the UCUM code, "1" for the zero Unit.
func (u Unit) Code() string {
	if u.code == "" {
		return "1"
	}
	return u.code
}

// String returns the UCUM code; for people there is [Unit.Display].
func (u Unit) String() string { return u.Code() }

// MarshalText writes the UCUM code.
func (u Unit) MarshalText() ([]byte, error) { return []byte(u.Code()), nil }

// Dimension returns the base exponents.
func (u Unit) Dimension() Dimension { return u.dim }

// Size is how many coherent units of its dimension the unit is.
func (u Unit) Size() float64 {
	if u.factor == nil {
		return 1
	}
	x, _ := u.factor.Float64()
	return x
}

// Quantity is a decimal number with a unit.
type Quantity struct {
	Value Decimal
	Unit  Unit
}

// String returns the number as written and the unit for people: "36 mmHg".
func (q Quantity) String() string {
	unit := q.Unit.Display()
	switch unit {
	case "":
		return q.Value.Text()
	case "%", "°":
		return q.Value.Text() + unit
	}
	return q.Value.Text() + " " + unit
}
