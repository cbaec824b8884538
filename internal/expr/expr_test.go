package expr_test

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"echotally/internal/expr"
	"echotally/internal/ucum"
)

func unit(t testing.TB, code string) ucum.Unit {
	t.Helper()
	u, err := ucum.Parse(code)
	if err != nil {
		t.Fatal(err)
	}
	return u
}

// scope holds the names the tests use: tr and v1 in m/s, rap and rvsp in
// mm[Hg], d in mm, h in cm, ef in %, edv and esv in mL, hr per minute, the
// statement af, the parameters ten (mm[Hg]) and part (1).
func scope(t testing.TB) expr.Scope {
	set := func(code string) expr.Symbol { return expr.Symbol{Unit: unit(t, code), Set: true} }
	return expr.Scope{
		Symbols: expr.Table{
			"tr": set("m/s"), "v1": set("cm/s"), "rap": set("mm[Hg]"), "rvsp": set("mm[Hg]"), "d": set("mm"), "h": set("cm"),
			"ef": set("%"), "edv": set("mL"), "esv": set("mL"), "hr": set("/min"),
			"af": {Kind: expr.Bool, Said: true}, "ten": {Unit: unit(t, "mm[Hg]")}, "part": {Unit: unit(t, "1")},
		},
		Functions: map[string]expr.Function{
			"peak_gradient": {
				Name: "peak_gradient", Title: "Peak gradient", Names: []string{"v"}, Text: "4 × v²",
				Parameters: []expr.Symbol{{Unit: unit(t, "m/s")}}, Result: unit(t, "mm[Hg]"),
				Call: func(x []float64) (float64, error) { return 4 * x[0] * x[0], nil },
			},
			"less": {
				Name: "less", Parameters: []expr.Symbol{{Unit: unit(t, "mm[Hg]")}, {Unit: unit(t, "mm[Hg]")}}, Result: unit(t, "mm[Hg]"),
				Call: func(x []float64) (float64, error) { return x[0] - x[1], nil },
			},
			"refuse": {Name: "refuse", Parameters: []expr.Symbol{{Unit: unit(t, "m/s")}}, Call: func([]float64) (float64, error) { return 0, errors.New("no") }},
		},
		Fields: func() []string { return []string{"imageView", "imageMode"} },
	}
}

func compile(t testing.TB, source string) *expr.Program {
	t.Helper()
	p, err := expr.Compile(source, scope(t))
	if err != nil {
		t.Fatalf("%s: %v", source, err)
	}
	return p
}

// given returns values by input text; what is not listed cannot be told.
func given(values map[string]float64) expr.Values {
	return func(in *expr.Input) float64 {
		if x, ok := values[in.String()]; ok {
			return x
		}
		return math.NaN()
	}
}

func TestNumbersComeOutInTheirUnit(t *testing.T) {
	values := map[string]float64{"tr": 2.8, "v1": 280, "rap": 8, "d": 21, "h": 2.1, "edv": 120, "esv": 48, "ef": 60, "hr": 60, "part": 0.5}
	for _, c := range []struct {
		source, unit string
		want         float64
	}{
		{"peak_gradient(tr) + rap", "mm[Hg]", 39.36},
		{"peak_gradient(v1)", "mm[Hg]", 31.36},
		{"d - h", "mm", 0},
		{"h + d", "cm", 4.2},
		{"max(d, h)", "mm", 21},
		{"max(0, h)", "cm", 2.1},
		{"(edv - esv) / edv", "1", 0.6},
		{"100 * (edv - esv) / edv", "1", 60},
		{"ef - (edv - esv) / edv", "%", 0},
		{"1 - ef", "%", 40},
		{"(edv - esv) * hr", "", 4320},
		{"d ** 2", "mm2", 441},
		{"sqrt(d ** 2)", "m", 0.021},
		{"d / h", "1", 1},
		{"part ** 2", "1", 0.25},
		{"-rap", "mm[Hg]", -8},
		{"abs(rap - 2 * rap)", "mm[Hg]", 8},
		{"tr > v1 ? d : h", "mm", 21},
	} {
		if c.source == "tr > v1 ? d : h" {
			c.want = 21 // 2.8 m/s is not above 280 cm/s, h is 2.1 cm = 21 mm
		}
		p := compile(t, c.source)
		if c.unit != "" && p.Unit.Code() != c.unit {
			t.Errorf("%s: unit %s, want %s", c.source, p.Unit.Code(), c.unit)
		}
		if got := p.Eval(given(values)); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s = %v, want %v", c.source, got, c.want)
		}
	}
}

func TestTruthWithMissingValues(t *testing.T) {
	values := map[string]float64{
		"tr": 2.8, "rap": 8, "ten": 10, "ef": 60, "present(rvsp)": 0, "present(tr)": 1, "count(tr)": 3, "views(tr)": 2,
		"mentioned(af)": 0, "sex == \"F\"": 1, "age": 60, "noted(tr, \"imageView\")": 1,
	}
	for source, want := range map[string]expr.Truth{
		"rap < ten":                                    expr.True,
		"rap >= ten":                                   expr.False,
		"rvsp > rap":                                   expr.Unknown,
		"present(rvsp) and rvsp < rap":                 expr.False,
		"not present(rvsp) or rvsp > rap":              expr.True,
		"rvsp > rap and rap < ten":                     expr.Unknown,
		"rvsp > rap and rap > ten":                     expr.False,
		"rvsp > rap or rap < ten":                      expr.True,
		"not (rvsp > rap)":                             expr.Unknown,
		"rap / 0 > ten":                                expr.Unknown,
		"1 / (rap / 0) < 2 / ten":                      expr.Unknown,
		"sqrt(0 - rap * rap) > 0":                      expr.Unknown,
		"refuse(tr) > 0":                               expr.Unknown,
		"stated(af)":                                   expr.Unknown,
		"mentioned(af)":                                expr.False,
		"stated(af) ? rap < ten : ten > rap":           expr.True,
		"count(tr) >= 2 and views(tr) >= 2":            expr.True,
		"sex == \"F\"":                                 expr.True,
		"sex != \"F\"":                                 expr.False,
		"sex == \"M\"":                                 expr.Unknown,
		"noted(tr, \"imageView\")":                     expr.True,
		"between(rap, 0, ten)":                         expr.True,
		"between(rap, ten, 2 * ten)":                   expr.False,
		"between(rvsp, 0, ten)":                        expr.Unknown,
		"rap < (present(rvsp) ? rvsp : ten)":           expr.True,
		"rap < (present(rvsp) ? ten : rvsp)":           expr.Unknown,
		"tally(rap < ten, ten < rap, rap == rap) == 2": expr.True,
		"tally(rap < ten, rvsp < rap) == 2":            expr.Unknown,
		"tier(ten, rap, ten, ten + rap) == 2":          expr.True,
		"tier(rvsp, rap, ten) == 2":                    expr.Unknown,
		"0 < rap < ten":                                expr.True,
		"present(tr) == present(rvsp)":                 expr.False,
	} {
		if got := compile(t, source).Holds(given(values)); got != want {
			t.Errorf("%s: %v, want %v", source, got, want)
		}
	}
}

// Sums such as 0.1 + 0.2 do not come out exactly; a value at a limit must be at
// the limit all the same, also when the large parts cancel.
func TestNoiseDoesNotDecide(t *testing.T) {
	values := map[string]float64{"ef": 62.1, "edv": 120, "esv": 48, "part": 0.021, "rap": 0.1, "rvsp": 0.2, "ten": 0.3}
	for source, want := range map[string]expr.Truth{
		"rap + rvsp <= ten":                   expr.True,
		"rap + rvsp >= ten":                   expr.True,
		"rap + rvsp == ten":                   expr.True,
		"rap + rvsp > ten":                    expr.False,
		"rap + rvsp - ten > 0":                expr.False,
		"ten - rap - rvsp < 0":                expr.False,
		"abs(ef - (edv - esv) / edv) <= part": expr.True,
		"abs(ef - (edv - esv) / edv) < part":  expr.False,
		"abs(rap + rvsp - ten) > 0":           expr.False,
	} {
		if got := compile(t, source).Holds(given(values)); got != want {
			t.Errorf("%s: %v, want %v", source, got, want)
		}
	}
}

func TestRequiredNames(t *testing.T) {
	for source, want := range map[string][]string{
		"rvsp > rap":                            {"rvsp", "rap"},
		"present(rvsp) and rvsp > rap":          {"rap"},
		"count(tr) >= 2":                        nil,
		"beats(tr) >= 2":                        {"tr"},
		"prior(tr) > 0 and prior_days() > 0":    {"tr"},
		"prior_present(tr)":                     nil,
		"mentioned(af) or stated(af)":           nil,
		"stated(af)":                            {"af"},
		"noted(tr, \"imageView\") or rap > ten": {"rap", "ten"},
		"sex == \"F\" and age > 0":              {"sex", "age"},
	} {
		if p := compile(t, source); !slices.Equal(p.Required, want) {
			t.Errorf("%s: required %v, want %v", source, p.Required, want)
		}
	}
}

func TestFaultsNamePlaceAndRemedy(t *testing.T) {
	for _, c := range []struct {
		source, at, message, hint string
	}{
		{"rap + h", "+ h", "cannot add mm[Hg] and cm", "same kind"},
		{"rap < tr", "< tr", "cannot compare mm[Hg] and m/s", ""},
		{"max(d, rap)", "max", "cannot compare mm and mm[Hg]", ""},
		{"peak_gradient(rap)", "rap)", "wants m/s here, this is mm[Hg]", ""},
		{"peak_gradient(tr, tr)", "peak", "takes 1 values, got 2", ""},
		{"tr > 3", "3", "the number 3 has no origin", "parameters"},
		{"tr > 2.5", "2.5", "the number 2.5 has no origin", "parameters"},
		{"rvspp > rap", "rvspp", "unknown name rvspp", "did you mean rvsp?"},
		{"peak_gradent(tr) > 0", "peak", "unknown function peak_gradent", "did you mean peak_gradient?"},
		{"present(ten)", "ten", "asked of a measurand", ""},
		{"stated(tr)", "tr", "asked of a statement", ""},
		{"af", "af", "af is a statement", "stated(af)"},
		{"noted(tr, \"imageViw\")", "\"imageViw", "unknown modifier", "did you mean imageView?"},
		{"sex > \"F\"", "sex", "sex can only be compared", ""},
		{"sex == \"W\"", "\"W", "\"M\", \"F\" or \"O\"", ""},
		{"ef > 2", ">", "a bare number beside a quantity in %", "parameters"},
		{"d ** part", "**", "raised to 1 or 2", ""},
		{"sqrt(d) > 0", "sqrt", "no quantity", ""},
		{"tr and rap", "and", "true or false", ""},
		{"not tr", "not", "true or false", ""},
		{"tr == present(tr)", "==", "not of one kind", ""},
		{"tr % tr", "%", "not allowed", ""},
		{"[1, 2]", "[", "not part of the expression language", ""},
		{"len(\"abc\")", "len", "unknown function len", ""},
		{"abs(\"abc\")", "\"abc", "a text may only", ""},
		{"let x = tr; x > 0", "x", "not part", ""},
		{"tr > ", " ", "too early", "missing"},
		{"tr = rap", "=", "", "=="},
		{"map([1], # > 0)", "", "", ""},
		{"tr.x > 0", "x", "not part", ""},
		{"true", "true", "not part", ""},
		{"", "", "empty", ""},
	} {
		_, err := expr.Compile(c.source, scope(t))
		var fault *expr.Error
		if !errors.As(err, &fault) {
			t.Errorf("%s: no fault, err %v", c.source, err)
			continue
		}
		if !strings.HasPrefix(c.source[min(fault.Offset, len(c.source)):], c.at) || !strings.Contains(fault.Message, c.message) || !strings.Contains(fault.Hint, c.hint) {
			t.Errorf("%s: at %q: %s; hint %s", c.source, c.source[min(fault.Offset, len(c.source)):], fault.Message, fault.Hint)
		}
	}
}

func TestBoundsOnSize(t *testing.T) {
	for name, source := range map[string]string{
		"nodes": "tr" + strings.Repeat("+tr", 450), "length": strings.Repeat("(", 3000), "depth": strings.Repeat("(", 1900) + "tr",
		"chains within chains": strings.Repeat("1 < tally(1 == 1, ", 60) + "tr == tr" + strings.Repeat(") < 2", 60),
	} {
		if _, err := expr.Compile(source, scope(t)); err == nil {
			t.Errorf("%s: a huge expression was accepted", name)
		}
	}
}

func TestArithmeticIsShownWithValues(t *testing.T) {
	show := func(in expr.Input, unit *ucum.Unit) string {
		if unit != nil {
			return "2.8"
		}
		return map[string]string{"tr": "2.8 m/s", "rap": "8", "rvsp": "45", "d": "21 mm"}[in.String()]
	}
	for source, want := range map[string]string{
		"peak_gradient(tr) + rap":         "4 × 2.8² + 8",
		"peak_gradient(tr + v1) > 0":      "4 × (2.8 m/s + )² > 0",
		"(rvsp - rap) * 2":                "(45 − 8) × 2",
		"rvsp - (rap - rvsp)":             "45 − (8 − 45)",
		"d ** 2 >= 0":                     "(21 mm)² ≥ 0",
		"max(rvsp, rap) / 2":              "max(45, 8) / 2",
		"not (rap > rvsp) or rap == rvsp": "not (8 > 45) or 8 = 45",
	} {
		if got := compile(t, source).Arithmetic(show); got != want {
			t.Errorf("%s shown as %q, want %q", source, got, want)
		}
	}
}

func TestDefinitionsStandForTheirText(t *testing.T) {
	sc := scope(t)
	sc.Definitions = (&expr.Trees{}).Define(map[string]string{
		"gradient": "peak_gradient(tr)", "total": "gradient + rap", "high": "total > ten", "a": "b + rap", "b": "a + rap", "bad": "rap + h", "broken": "rap +",
	})
	p, err := expr.Compile("high and total < 2 * rvsp", sc)
	if err != nil {
		t.Fatal(err)
	}
	if got := p.Holds(given(map[string]float64{"tr": 2.8, "rap": 8, "ten": 10, "rvsp": 40})); got != expr.True {
		t.Errorf("got %v", got)
	}
	for source, want := range map[string]string{"a > rap": "leads back to itself", "bad > rap": "in the definition of bad: cannot add", "broken > rap": "in the definition of broken: the expression ends too early"} {
		if _, err := expr.Compile(source, sc); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", source, err, want)
		}
	}
}

func TestDefinitionsCannotGrowWithoutBound(t *testing.T) {
	sc := scope(t)
	texts := map[string]string{"d0": "rap"}
	for i := 1; i < 40; i++ {
		texts["d"+strconv.Itoa(i)] = fmt.Sprintf("d%d + d%d", i-1, i-1)
	}
	sc.Definitions = (&expr.Trees{}).Define(texts)
	if _, err := expr.Compile("d39 > rap", sc); err == nil || !strings.Contains(err.Error(), "too many definitions") {
		t.Errorf("2^39 terms: %v", err)
	}
}

func TestOneProgramManyGoroutines(t *testing.T) {
	p := compile(t, "peak_gradient(tr) + rap")
	var wg sync.WaitGroup
	for i := range 8 {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for range 200 {
				tr := float64(i)
				if got := p.Eval(given(map[string]float64{"tr": tr, "rap": 8})); math.Abs(got-(4*tr*tr+8)) > 1e-9 {
					t.Errorf("got %v for %v", got, tr)
				}
			}
		}()
	}
	wg.Wait()
}

// A study is judged by some hundreds of rules, a lab by some thousands of
// studies.
func TestEvaluationAllocatesNothing(t *testing.T) {
	values := func(in *expr.Input) float64 { return float64(len(in.Name)) }
	for _, source := range []string{
		"rvsp > rap and present(tr)", "peak_gradient(tr) + rap", "between(rap, 0, ten) or tally(tr > v1, rvsp > rap) >= 2",
		"rap" + strings.Repeat(" + rap", 100) + " > ten",
	} {
		p := compile(t, source)
		p.Holds(values)
		if n := testing.AllocsPerRun(100, func() { p.Eval(values) }); n >= 1 {
			t.Errorf("%s: %v allocations", source, n)
		}
	}
}

// Formulas within formulas keep their arguments apart, and what is asked for twice is
// asked for once.
func TestFormulasWithinFormulas(t *testing.T) {
	asked := map[string]int{}
	for source, want := range map[string]float64{
		"less(peak_gradient(tr), peak_gradient(v1))":                               64 - 4,
		"less(less(peak_gradient(tr), rap), less(rvsp, peak_gradient(v1)))":        (64 - 8) - (70 - 4),
		"less(rvsp, less(peak_gradient(tr), less(rap, peak_gradient(v1)))) + rvsp": 70 - (64 - (8 - 4)) + 70,
	} {
		clear(asked)
		values := given(map[string]float64{"tr": 4, "v1": 100, "rap": 8, "rvsp": 70})
		p := compile(t, source)
		got := p.Eval(func(in *expr.Input) float64 { asked[in.Name]++; return values(in) })
		if math.Abs(got-want) > 1e-9 {
			t.Errorf("%s: %v, want %v", source, got, want)
		}
		if asked["rvsp"] > 1 {
			t.Errorf("%s: asked %v", source, asked)
		}
		if listed := p.EvalOf(inputsOf(p, values)); listed != got {
			t.Errorf("%s: %v from a list, %v otherwise", source, listed, got)
		}
	}
}

// inputsOf are the numbers of the inputs of a program in their order.
func inputsOf(p *expr.Program, values expr.Values) []float64 {
	out := make([]float64, len(p.Inputs))
	for i := range p.Inputs {
		out[i] = values(&p.Inputs[i])
	}
	return out
}

const typical = "present(rvsp) and abs(rvsp - (peak_gradient(tr) + rap)) <= ten"

func BenchmarkCompile(b *testing.B) {
	sc := scope(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := expr.Compile(typical, sc); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkEval(b *testing.B) {
	p := compile(b, typical)
	values := func(in *expr.Input) float64 { return float64(len(in.Name)) }
	b.ReportAllocs()
	for b.Loop() {
		p.Eval(values)
	}
}
