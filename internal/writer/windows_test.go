package writer

import (
	"slices"
	"strings"
	"testing"

	"echotally/internal/term"
	"echotally/rules"
)

// A sheet is in the order in which the shipped terms have the windows.
func TestSheetsKnowEveryWindow(t *testing.T) {
	terms, err := term.Load(rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	var want []string
	for _, name := range terms.Ordered(term.Window) {
		want = append(want, strings.ReplaceAll(name, "-", " "))
	}
	if !slices.Equal(windows, want) {
		t.Errorf("windows %v, terms.yaml %v", windows, want)
	}
}
