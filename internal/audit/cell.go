package audit

import (
	"math"

	"echotally/internal/stats"
)

// TextCell holds words.
func TextCell(s string) Cell { return Cell{Text: s} }

// CountCell holds a count.
func CountCell(n int) Cell { return Cell{Count: n} }

// NumberCell holds a number, none when it is NaN.
func NumberCell(x float64) Cell { return Cell{Number: x} }

// EstimateCell holds a number with its interval, none when it is NaN.
func EstimateCell(x float64, between stats.Interval) Cell {
	return Cell{Number: x, Between: between}
}

// NoCell holds nothing.
func NoCell() Cell { return Cell{Number: math.NaN()} }

// ShareCell holds a share.
func ShareCell(p stats.Proportion) Cell { return Cell{Share: p} }

// Add adds a row.
func (t *Table) Add(cells ...Cell) { t.Rows = append(t.Rows, cells) }
