package expr

import (
	"flag"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"

	"echotally/internal/question"
	"echotally/internal/question/questionnaire"
)

var update = flag.Bool("update", false, "write the generated parts of rules/README.md anew")

// TestQuestionsAreDocumented holds the tables of rules/README.md against the
// questions and functions there are.
func TestQuestionsAreDocumented(t *testing.T) {
	const page = "../../rules/README.md"
	b, err := os.ReadFile(page)
	if err != nil {
		t.Fatal(err)
	}
	text := string(b)
	for name, want := range map[string]string{
		"report":           table("gives", report()) + "\n" + required(),
		"earlier study":    table("gives", from(question.EarlierStudy)),
		"wall":             table("gives", from(question.Wall)),
		"image of a value": table("gives, for the value of `x` that counts", from(question.ImageOfValue)),
	} {
		begin, end := "<!-- questions: "+name+" -->\n", "<!-- end -->"
		before, rest, ok := strings.Cut(text, begin)
		have, after, closed := strings.Cut(rest, end)
		switch {
		case !ok || !closed:
			t.Errorf("%s has no part %q", page, strings.TrimSpace(begin))
		case have == want:
		case *update:
			text = before + begin + want + end + after
		default:
			t.Errorf("the part %q of %s is stale; write it with\n  go test ./internal/expr -run TestQuestionsAreDocumented -update", name, page)
		}
	}
	if *update && !t.Failed() {
		if err := os.WriteFile(page, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// row documents one function.
type row struct{ call, gives, answer string }

func report() []row {
	out := from(question.Report, question.AnyValue)
	for _, name := range slices.Sorted(maps.Keys(functions)) {
		f := functions[name]
		out = append(out, row{"`" + name + "(" + f.arguments + ")`", f.gives, f.answer})
	}
	return append(out, row{"formula functions", "see `echotally rules formulas`: `peak_gradient(v)`, `circle_area(d)` …", "the formula's unit"})
}

func from(sources ...question.Source) []row {
	var out []row
	for _, q := range questionnaire.All() {
		if slices.Contains(sources, q.From) {
			out = append(out, row{"`" + signature(q) + "`", q.Gives, answer(q)})
		}
	}
	return out
}

func answer(q *question.Question) string {
	switch unit, own := q.Unit(); {
	case q.Truth:
		return "true or false"
	case !own:
		return "unit of x"
	case q.UnitCode == "":
		return "count"
	case unit.Display() == "":
		return "number"
	default:
		return unit.Display()
	}
}

func signature(q *question.Question) string {
	switch {
	case q.Plain:
		return q.Name
	case q.AskedOf(question.WholeStudy):
		return q.Name + "()"
	case q.AskedOf(question.AStatement):
		return q.Name + "(s)"
	case q.Detail != "":
		return q.Name + "(x, \"" + q.Detail + "\")"
	}
	return q.Name + "(x)"
}

func table(gives string, rows []row) string {
	out := "| function | " + gives + " | answer |\n| --- | --- | --- |\n"
	for _, r := range rows {
		out += "| " + r.call + " | " + r.gives + " | " + r.answer + " |\n"
	}
	return out
}

// required says which names need a value.
func required() string {
	var optional, test []string
	for _, q := range questionnaire.All() {
		if q.Guard != question.NeedsValue && q.Names() > 0 {
			optional = append(optional, "`"+q.Name+"`")
		}
		if q.Tests {
			test = append(test, "`"+q.Name+"`")
		}
	}
	return "A name is a required input unless nothing but " + strings.Join(optional, ", ") + " is asked of it,\nor the same expression tests it with " + strings.Join(test, " or ") + ".\n"
}
