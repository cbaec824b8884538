package rule

import (
	"echotally/internal/derive"
	"echotally/internal/expr"
	"echotally/internal/measurand"
	"echotally/internal/reference"
	"echotally/internal/statement"
	"echotally/internal/term"
)

// Basis is what the files of a rule library are compiled against.
type Basis struct {
	Measurands *measurand.Catalogue
	Statements *statement.Catalogue
	Terms      *term.Catalogue
	References *reference.Catalogue // tables of reference values by body size
	Protocols  []*Protocol
	Works      Works  // what rules rest on
	Edition    string // of the guidelines, where a parameter depends on it
	Functions  map[string]expr.Function

	trees *expr.Trees // what rules have in common is parsed once
}

// NewBasis has the formulas, and neither catalogues nor works yet.
func NewBasis(edition string, table *derive.Table) Basis {
	return Basis{Edition: edition, Functions: functions(table), Works: Works{}, trees: &expr.Trees{}}
}

// functions makes the formula table usable in expressions.
func functions(table *derive.Table) map[string]expr.Function {
	out := map[string]expr.Function{}
	for _, f := range table.All() {
		fn := expr.Function{Name: f.Name, Title: f.Title, Result: f.Unit, Text: f.Text, Call: func(args []float64) (float64, error) { return f.Compute(args...) }}
		for _, p := range f.Parameters {
			fn.Names = append(fn.Names, p.Name)
			fn.Parameters = append(fn.Parameters, expr.Symbol{Unit: p.Unit})
		}
		out[f.Name] = fn
	}
	return out
}
