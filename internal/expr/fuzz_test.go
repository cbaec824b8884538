package expr_test

import (
	"maps"
	"slices"
	"testing"

	"echotally/internal/expr"
	"echotally/internal/mutate"
	"echotally/internal/ucum"
)

var expressions = []string{
	typical, "rvsp > rap", "present(tr) ? tr : v1", "peak_gradient(tr)+rap", "sex == \"F\"", "((", "0x1p-2 < tr", "tr ** -1 > 0", "count(tr) in [1]",
	"abs(ef - (edv - esv) / edv) <= 5", "not af and hr < 100", "max(tr, v1) >= 2 * d / h", "date < 3 && !present(rap)",
}

// checkCompile: whatever is written, compiling ends with a program or a fault, and a
// program gives an answer.
func checkCompile(t *testing.T, source string, sc expr.Scope) string {
	p, err := expr.Compile(source, sc)
	if err != nil {
		return err.Error()
	}
	p.Eval(func(*expr.Input) float64 { return 1 })
	p.Arithmetic(func(in expr.Input, _ *ucum.Unit) string { return in.String() })
	return "compiled"
}

func FuzzCompile(f *testing.F) {
	for _, s := range expressions {
		f.Add([]byte(s))
	}
	sc := scope(f)
	f.Fuzz(func(t *testing.T, source []byte) { checkCompile(t, string(source), sc) })
}

func TestMutationsOfExpressions(t *testing.T) {
	var seeds [][]byte
	for _, s := range expressions {
		seeds = append(seeds, []byte(s))
	}
	sc := scope(t)
	tokens := append(slices.Sorted(maps.Keys(sc.Symbols.(expr.Table))), slices.Sorted(maps.Keys(sc.Functions))...)
	tokens = append(tokens, "present(", "count(", "abs(", "min(", "max(", ")", " and ", " or ", "not ", " ? ", " : ", " in [", "]", "==", "<=", "**", "%", "..", "|", "#", "{", "\"", "'", "?.", "let x = 1; ", "/*", "1e308", "0.5", "imageView")
	mutate.Run(t, mutate.Source{Seeds: seeds, Tokens: tokens, Target: "FuzzCompile"}, func(t *testing.T, b []byte) string {
		return checkCompile(t, string(b), sc)
	})
}
