// Package derive owns the formulas of echocardiography: one table of pure
// functions, each with its meaning, the units of its arguments and result, its
// range of validity and its published source. Rules call them by name; the
// report shows them as the arithmetic behind a computed value.
//
// A formula computes; it never judges, rounds, or replaces a missing input.
package derive

import (
	"fmt"
	"math"
	"sort"

	"echotally/internal/derive/formulary"
	"echotally/internal/ucum"
)

// Formula is one named function.
type Formula struct {
	Name       string // as used in rules: peak_gradient
	Title      string // in words
	Parameters []Parameter
	Unit       ucum.Unit // of the result
	Source     string    // author, year, place; "from memory" when nobody could confirm it
	Validity   string    // when it may be used
	Text       string    // the formula in words of arithmetic: 4 × v²
	compute    func(x []float64) float64
}

// Parameter is an argument: its name and the unit it is taken in.
type Parameter struct {
	Name string
	Unit ucum.Unit
}

// Compute applies the formula to arguments in the units of its parameters. A
// result that is not a finite number, or a wrong number of arguments, is an
// error.
func (f Formula) Compute(x ...float64) (float64, error) {
	if len(x) != len(f.Parameters) {
		return 0, fmt.Errorf("%s takes %d values, got %d", f.Name, len(f.Parameters), len(x))
	}
	y := f.compute(x)
	if math.IsNaN(y) || math.IsInf(y, 0) {
		return 0, fmt.Errorf("%s gives no finite number for these values", f.Name)
	}
	return y, nil
}

// Table is the set of formulas by name.
type Table struct {
	formulas []Formula
	byName   map[string]int
}

// All returns the formulas sorted by name.
func (t *Table) All() []Formula { return t.formulas }

// Find returns the formula of a name.
func (t *Table) Find(name string) (Formula, bool) {
	i, ok := t.byName[name]
	if !ok {
		return Formula{}, false
	}
	return t.formulas[i], true
}

// Load builds the table; the error names the first entry with an unknown unit
// or a name used twice.
func Load() (*Table, error) {
	var t Table
	for _, e := range formulary.All() {
		f, err := compiled(e)
		if err != nil {
			return nil, err
		}
		t.formulas = append(t.formulas, f)
	}
	sort.Slice(t.formulas, func(i, j int) bool { return t.formulas[i].Name < t.formulas[j].Name })
	t.byName = make(map[string]int, len(t.formulas))
	for i, f := range t.formulas {
		if _, twice := t.byName[f.Name]; twice {
			return nil, fmt.Errorf("formula %s stands twice in the table", f.Name)
		}
		t.byName[f.Name] = i
	}
	return &t, nil
}

// compiled is the formula of an entry, with the units of its table read.
func compiled(e formulary.Entry) (Formula, error) {
	f := Formula{Name: e.Name, Title: e.Title, Source: e.Source, Validity: e.Validity, Text: e.Text, compute: e.Compute}
	var err error
	if f.Unit, err = ucum.Parse(e.Unit); err != nil {
		return f, fmt.Errorf("formula %s: result: %w", e.Name, err)
	}
	for _, p := range e.Parameters {
		u, err := ucum.Parse(p[1])
		if err != nil {
			return f, fmt.Errorf("formula %s: %s: %w", e.Name, p[0], err)
		}
		f.Parameters = append(f.Parameters, Parameter{Name: p[0], Unit: u})
	}
	return f, nil
}
