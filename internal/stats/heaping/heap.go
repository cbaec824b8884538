// Package heaping owns the preference of digits: values that heap on round numbers
// or beside a threshold.
package heaping

import (
	"maps"
	"math"
	"slices"

	"echotally/internal/stats"
)

// Heap is whether values heap on round numbers.
type Heap struct {
	Total    int     // values
	Round    int     // on multiples of five steps
	Expected float64 // of them, by the neighbours
	Z        float64
	PValue   float64 // one-sided: more than the neighbours tell
	Told     bool    // false: the values spread too little over the steps
}

// leastSpread is the standard deviation, in steps, from which the cubic follows
// a normal density: at its top it is 1 % off with 2.5 steps, 7 % with 1.5.
const leastSpread = 2.5

// Heaping tests whether more values lie on multiples of five steps than their
// neighbours tell. What is expected on a number is the cubic through the counts
// one and two steps to either side, (4(a+b) − (c+d))/6, so that a slope or a
// curve of the density is no heap; it is what Lagrange's interpolation gives at
// the middle of the four points. Counts are taken as Poisson;
// the neighbourhoods of two multiples of five do not overlap. Equal digits, with
// which end digits are mostly compared, are not to be expected of a narrow range.
func Heaping(counts map[int]int) Heap {
	h := Heap{PValue: 1, Z: math.NaN()}
	sum, squares := 0.0, 0.0
	// In order, so that the same counts come to the same last digit each time.
	for _, at := range slices.Sorted(maps.Keys(counts)) {
		n := counts[at]
		h.Total += n
		sum, squares = sum+float64(at)*float64(n), squares+float64(at)*float64(at)*float64(n)
	}
	if h.Total < 2 {
		return h
	}
	mean := sum / float64(h.Total)
	h.Told = math.Sqrt((squares-float64(h.Total)*mean*mean)/float64(h.Total-1)) >= leastSpread
	variance := 0.0
	centres := map[int]bool{}
	for at := range counts {
		centres[5*int(math.Round(float64(at)/5))] = true
	}
	for _, at := range slices.Sorted(maps.Keys(centres)) {
		near, far := float64(counts[at-1]+counts[at+1]), float64(counts[at-2]+counts[at+2])
		h.Round += counts[at]
		h.Expected += (4*near - far) / 6
		variance += float64(counts[at]) + (16*near+far)/36
	}
	h.Expected = math.Max(0, h.Expected)
	if h.Told && variance > 0 {
		h.Z = (float64(h.Round) - h.Expected) / math.Sqrt(variance)
		h.PValue = math.Erfc(h.Z/math.Sqrt2) / 2
	}
	return h
}

// grids are the steps a device may store, in reading steps.
var grids = []float64{100, 50, 20, 10, 5, 2}

// gridShare is how many of the values must lie on a grid for it to be that of
// the device: one in a hundred may have been typed in.
const gridShare = 0.99

// Grid is the coarsest step, in multiples of the step given, on which values are
// stored; 1 when they lie on none coarser than the step itself.
func Grid(values []float64, step float64) float64 {
	for _, g := range grids {
		if liesOn(values, g*step) {
			return g
		}
	}
	return 1
}

func liesOn(values []float64, grid float64) bool {
	on := len(values)
	for _, v := range values {
		at := v / grid
		if math.Abs(at-math.Round(at)) < 1e-6*math.Max(1, math.Abs(at)) {
			continue
		}
		if on--; float64(on) < gridShare*float64(len(values)) {
			return false
		}
	}
	return true
}

// Digits is the test of end-digit preference.
type Digits struct {
	Counts    [10]int
	Total     int
	ChiSquare float64 // NaN when the exact test was used
	PValue    float64
	Exact     bool    // fewer than 50 values: exact binomial on 0 and 5
	Rounded   float64 // share ending in 0 or 5
}

// EndDigits tests whether the last digits are spread evenly: Pearson's
// chi-square with 9 degrees of freedom, or, below 50 values (an expected count
// below 5), the exact upper tail of values ending in 0 or 5 against one in five.
func EndDigits(counts [10]int) Digits {
	d := Digits{Counts: counts, ChiSquare: math.NaN(), PValue: 1}
	for _, c := range counts {
		d.Total += c
	}
	if d.Total == 0 {
		return d
	}
	round := counts[0] + counts[5]
	d.Rounded = float64(round) / float64(d.Total)
	if d.Total < 50 {
		d.Exact = true
		d.PValue = 1 - stats.BinomialCDF(round-1, d.Total, 0.2)
		return d
	}
	expected := float64(d.Total) / 10
	d.ChiSquare = 0
	for _, c := range counts {
		d.ChiSquare += (float64(c) - expected) * (float64(c) - expected) / expected
	}
	d.PValue = stats.ChiSquareSurvival(d.ChiSquare, 9)
	return d
}

// PileUp tests whether values heap just on one side of a threshold: of the
// values within a symmetric window, below and above should be equally many; the
// result is the two-sided exact binomial p-value.
func PileUp(below, above int) float64 {
	return stats.BinomialTest(stats.Proportion{Count: below, Total: below + above}, 0.5)
}
