// Package worked owns the worked examples of formulas: numbers printed together with
// their inputs, each with its source and how far it shows that a formula is right.
package worked

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
)

// The strengths of an example: how far it shows that a formula is right.
const (
	Published  = "published"   // printed with its inputs in a standard, guideline, paper, handbook, teaching case or data set
	Definition = "definition"  // follows from what a source says in words or limits, not from a measured case
	Memory     = "memory"      // nobody could look it up
	CrossCheck = "cross-check" // a public page or calculator: shows arithmetic, is no authority, is not named
)

// Example is a number printed together with its inputs.
type Example struct {
	Formula           string
	Arguments         []float64 // in the units of the formula's parameters
	Result, Tolerance float64   // as printed; half its last digit, or more where the source says "about" or cuts digits off
	Source            string
	Strength          string
	Rows              []string // the rows of the reference set or sections of the standard that it covers
}

// workedExamples is embedded so that the catalogue can say how well a formula
// is shown without a file beside the program.
//
//go:embed worked_examples.csv
var workedExamples string

// Examples returns the worked examples in the order they were collected.
func Examples() ([]Example, error) {
	rows, err := csv.NewReader(strings.NewReader(workedExamples)).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("worked examples: %w", err)
	}
	var out []Example
	for i, row := range rows[1:] {
		e := Example{Formula: row[0], Source: row[4], Strength: row[5], Rows: strings.Fields(row[6])}
		for _, n := range append(strings.Split(row[1], ";"), row[2], row[3]) {
			x, err := strconv.ParseFloat(strings.TrimSpace(n), 64)
			if err != nil {
				return nil, fmt.Errorf("worked examples: line %d: %w", i+2, err)
			}
			e.Arguments = append(e.Arguments, x)
		}
		n := len(e.Arguments) - 2
		e.Arguments, e.Result, e.Tolerance = e.Arguments[:n], e.Arguments[n], e.Arguments[n+1]
		out = append(out, e)
	}
	return out, nil
}
