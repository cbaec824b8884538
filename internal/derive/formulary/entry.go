// Package formulary owns the formulas as published: name, arithmetic, units, source and
// validity of each, part of the heart by part. Package derive makes functions of them.
package formulary

import (
	"math"
	"slices"
)

// Entry is a formula as written in the tables of this package.
type Entry struct {
	Name, Title string
	Parameters  [][2]string // name, UCUM unit
	Unit        string
	Text        string
	Source      string
	Validity    string
	Compute     func(x []float64) float64
}

// percentOf and the other one-line shapes below keep the tables readable.
func ratio(x []float64) float64 { return x[0] / x[1] }

func percentOf(x []float64) float64 { return 100 * x[0] / x[1] }

func product(x []float64) float64 { return x[0] * x[1] }

func difference(x []float64) float64 { return x[0] - x[1] }

// fractionalChange is 100 × (large − small) / large.
func fractionalChange(x []float64) float64 { return 100 * (x[0] - x[1]) / x[0] }

func circle(d float64) float64 { return math.Pi / 4 * d * d }

func cube(x float64) float64 { return x * x * x }

// All are the entries of every part of the heart, in the order of the tables.
func All() []Entry {
	return slices.Concat(bodyAndRhythm(), pressureAndFlow(), leftVentricle(), diastology(), rightHeart(), aorticValve(), mitralValve(), tricuspidValve(), aorta())
}
