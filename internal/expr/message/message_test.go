package message_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"echotally/internal/expr"
	"echotally/internal/expr/message"
	"echotally/internal/ucum"
)

// scope holds the names the messages here use, of measurands all.
func scope(t *testing.T) expr.Scope {
	t.Helper()
	unit := func(code string) ucum.Unit {
		u, err := ucum.Parse(code)
		if err != nil {
			t.Fatal(err)
		}
		return u
	}
	set := func(code string) expr.Symbol { return expr.Symbol{Unit: unit(code), Set: true} }
	return expr.Scope{
		Symbols: expr.Table{"tr": set("m/s"), "v1": set("cm/s"), "rap": set("mm[Hg]"), "rvsp": set("mm[Hg]")},
		Functions: map[string]expr.Function{"peak_gradient": {
			Name: "peak_gradient", Names: []string{"v"}, Parameters: []expr.Symbol{{Unit: unit("m/s")}}, Result: unit("mm[Hg]"),
			Call: func(x []float64) (float64, error) { return 4 * x[0] * x[0], nil },
		}},
	}
}

// given returns values by name; what is not listed cannot be told.
func given(values map[string]float64) expr.Values {
	return func(in *expr.Input) float64 {
		if x, ok := values[in.String()]; ok {
			return x
		}
		return math.NaN()
	}
}

func TestTemplate(t *testing.T) {
	tpl, err := message.Compile("{title rvsp} {rvsp}, computed {peak_gradient(tr) + rap}.", scope(t))
	if err != nil {
		t.Fatal(err)
	}
	got := tpl.Write(plainWords{}, given(map[string]float64{"tr": 2.8, "rap": 8}))
	if want := "RVSP <rvsp>, computed 39 mm[Hg]."; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	_, err = message.Compile("RVSP {rvsp} and {rvps}", scope(t))
	var fault *expr.Error
	if !errors.As(err, &fault) || fault.Offset != 17 {
		t.Errorf("fault %+v, want one at 17", fault)
	}
}

// plainWords are the words of a message without a study.
type plainWords struct{}

func (plainWords) Title(alias string) string { return strings.ToUpper(alias) }

func (plainWords) Named(alias string) string { return "<" + alias + ">" }

func (plainWords) Number(_ float64, u ucum.Unit) string { return "39 " + u.Code() }

func TestTemplateCounts(t *testing.T) {
	tpl, err := message.Compile("{tally(tr > v1 * 2, tr > v1 * 2 * 2) | grade} and {(tr > v1 * 2 ? 1 : 2) + 2 | beat}, {rap / rap | step}.", scope(t))
	if err != nil {
		t.Fatal(err)
	}
	for tr, want := range map[float64]string{
		2:   "0 grades and four beats, one step.",
		3.5: "one grade and three beats, one step.",
		7:   "two grades and three beats, one step.",
	} {
		if got := tpl.Write(nil, given(map[string]float64{"tr": tr, "rap": 8, "v1": 150})); got != want {
			t.Errorf("%g: got %q, want %q", tr, got, want)
		}
	}
	if got := tpl.Write(nil, given(map[string]float64{"tr": 5, "rap": 0, "v1": 150})); !strings.HasSuffix(got, "an unknown number of steps.") {
		t.Errorf("cannot be told: %q", got)
	}
	tpl, err = message.Compile("means {(tr > v1 * 2 * 2 ? 2 : 1) to rap / rap * 2 | mild, moderate}.", scope(t))
	if err != nil {
		t.Fatal(err)
	}
	for tr, want := range map[float64]string{2: "means mild to moderate.", 7: "means moderate."} {
		if got := tpl.Write(nil, given(map[string]float64{"tr": tr, "rap": 8, "v1": 150})); got != want {
			t.Errorf("%g: got %q, want %q", tr, got, want)
		}
	}
	for _, wrong := range []string{"{tr | grade}", "{1 | }", "{1 | two grades}", "{1 | mild, severe}", "{1 to 2}", "{1 to 2 | mild}", "{title 1}", "{title tr + tr}", "{1 to tr | mild, severe}"} {
		var fault *expr.Error
		if _, err := message.Compile(wrong, scope(t)); !errors.As(err, &fault) || fault.Hint == "" {
			t.Errorf("%s: %v", wrong, err)
		}
	}
}
