package booklet_test

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"echotally/internal/audit"
	"echotally/internal/booklet"
	"echotally/internal/stats"
	"echotally/internal/stats/reliability"
	"echotally/internal/table"
)

// TestBookletsAgreeWithThemselves: a booklet is written in all forms whatever its
// numbers and words are, the same to the byte each time, and its JSON keeps its contract.
func TestBookletsAgreeWithThemselves(t *testing.T) {
	evil := "<script>alert(1)</script> =1+1 \x1b[31m"
	one := table.Table{Identifier: "first", Title: evil, Note: evil, Columns: []table.Column{
		{Identifier: "what", Title: "What", Kind: table.Words}, {Identifier: "bias", Title: "Bias", Kind: table.Estimate}, {Identifier: "p", Title: "P", Kind: table.Number}, {Identifier: "share", Title: "Share", Kind: table.Share},
	}}
	for _, x := range []float64{1.5, math.NaN(), math.Inf(1)} {
		one.Add(table.TextCell(evil), table.EstimateCell(x, stats.Interval{Low: math.NaN(), High: 2}), table.NumberCell(x), table.ShareCell(stats.Proportion{Count: 3, Total: 4}))
	}
	first, second := []float64{1, 2, 3, 4}, []float64{1.1, 2.2, 2.9, 4.1}
	b := &booklet.Booklet{
		Name: "agreement", Title: "Agreement " + evil, Of: "draw 1", Options: audit.Options{Created: time.Unix(0, 0), Cutoff: time.Unix(0, 0), Software: "echotally"},
		Front: []booklet.Passage{{Title: "In short", Lines: []string{evil}}, {Title: "Empty"}}, Tables: []table.Table{one},
		Charts: []booklet.Chart{booklet.Pairs{Title: evil, Unit: "mm", First: first, Second: second, Test: reliability.NewAgreement(first, second, reliability.Usual, 0.95)}.Chart(1)},
	}
	dir := t.TempDir()
	names, err := booklet.Set(dir, b)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"agreement.html", "agreement.pdf", "agreement.xlsx", "agreement.json", "first.csv", "dictionary.csv"} {
		if !slices.Contains(names, name) {
			t.Errorf("no %s among %v", name, names)
		}
	}
	keepsContract(t, filepath.Join(dir, "agreement.json"))
	for range 24 { // what comes out of a map is in its order once by chance
		again := t.TempDir()
		if _, err := booklet.Set(again, b); err != nil {
			t.Fatal(err)
		}
		for _, name := range names {
			was, err := os.ReadFile(filepath.Join(dir, name))
			is, err2 := os.ReadFile(filepath.Join(again, name))
			if err != nil || err2 != nil || !bytes.Equal(was, is) {
				t.Errorf("%s is another file of the same booklet (%v, %v)", name, err, err2)
			}
		}
	}
	for _, name := range []string{"agreement.html", "agreement.json", "first.csv"} {
		text, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(string(text), "\x1b") || name == "agreement.html" && strings.Contains(string(text), "<script>alert") {
			t.Errorf("%s holds what acts on who shows it", name)
		}
	}
}

// keepsContract holds a file against the shipped schema.
func keepsContract(t *testing.T, path string) {
	t.Helper()
	const name = "booklet.schema.json"
	src, err := booklet.Schemas.ReadFile("schema/" + name)
	if err != nil {
		t.Fatal(err)
	}
	written, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	schema, err := jsonschema.UnmarshalJSON(bytes.NewReader(src))
	if err != nil {
		t.Fatal(err)
	}
	document, err := jsonschema.UnmarshalJSON(bytes.NewReader(written))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource(name, schema); err != nil {
		t.Fatal(err)
	}
	compiled, err := c.Compile(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := compiled.Validate(document); err != nil {
		t.Error(err)
	}
}
