package catalogue

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"

	"echotally/internal/derive"
	"echotally/internal/derive/worked"
)

// Formulas writes the table of formula functions.
func Formulas(w io.Writer, table *derive.Table) error {
	examples, err := examplesByFormula()
	if err != nil {
		return err
	}
	b := bufio.NewWriter(w)
	for _, f := range table.All() {
		fmt.Fprintf(b, "%s\n", signature(f))
		for _, text := range []string{f.Title + ": " + f.Text, "Valid: " + f.Validity, "Source: " + f.Source, shown(examples[f.Name])} {
			wrap(b, "    ", text)
		}
	}
	return b.Flush()
}

// pageFormulas lists the formulas with the printed numbers that they were
// recomputed against.
func pageFormulas(w io.Writer) error {
	table, err := derive.Load()
	if err != nil {
		return err
	}
	examples, err := examplesByFormula()
	if err != nil {
		return err
	}
	published := 0
	for _, f := range table.All() {
		if count(examples[f.Name], worked.Published) > 0 {
			published++
		}
	}
	fmt.Fprintf(w, "## formulas\n\nThe %d functions that rules may use. For %d of them a printed result could be looked up together with its inputs; the others\n"+
		"are tried only against geometry, limits and each other. Every number below is recomputed by the tests.\n\n"+
		"| takes and gives | formula | valid, source | examples |\n| --- | --- | --- | --- |\n", len(table.All()), published)
	for _, f := range table.All() {
		cell(w, "`"+signature(f)+"`")
		cell(w, markdown(f.Title), markdown(f.Text))
		cell(w, markdown(f.Validity), markdown(f.Source))
		tried := []string{shown(examples[f.Name])}
		for _, e := range examples[f.Name] {
			tried = append(tried, fmt.Sprintf("%s: %s give %s %s. %s", e.Strength, decimals(e.Arguments), decimal(e.Result), f.Unit.Code(), markdown(e.Source)))
		}
		cell(w, tried...)
		fmt.Fprintln(w, "|")
	}
	return nil
}

func examplesByFormula() (map[string][]worked.Example, error) {
	list, err := worked.Examples()
	if err != nil {
		return nil, err
	}
	by := map[string][]worked.Example{}
	for _, e := range list {
		by[e.Formula] = append(by[e.Formula], e)
	}
	return by, nil
}

func count(examples []worked.Example, strength string) int {
	n := 0
	for _, e := range examples {
		if e.Strength == strength {
			n++
		}
	}
	return n
}

// shown says how well examples show a formula.
func shown(examples []worked.Example) string {
	n := count(examples, worked.Published)
	if others := len(examples) - n; others > 0 {
		return fmt.Sprintf("Published examples: %d (and %d that are no authority: from memory, by definition or from unnamed pages)", n, others)
	}
	return fmt.Sprintf("Published examples: %d", n)
}

func signature(f derive.Formula) string {
	var arguments []string
	for _, p := range f.Parameters {
		arguments = append(arguments, fmt.Sprintf("%s [%s]", p.Name, p.Unit.Code()))
	}
	return fmt.Sprintf("%s(%s) [%s]", f.Name, strings.Join(arguments, ", "), f.Unit.Code())
}

func decimals(list []float64) string {
	var out []string
	for _, x := range list {
		out = append(out, decimal(x))
	}
	return strings.Join(out, ", ")
}

func decimal(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
