package datafile_test

import (
	"errors"
	"strings"
	"testing"

	"echotally/internal/datafile"
	"echotally/internal/datafile/bound"
	"echotally/internal/datafile/fault"
	"echotally/internal/datafile/written"
	"echotally/internal/mutate"
)

type sample struct {
	Title string            `yaml:"title"`
	Count int               `yaml:"count"`
	Parts []part            `yaml:"parts"`
	Named map[string]part   `yaml:"named"`
	Words map[string]string `yaml:"words"`
}

type part struct {
	Unit     string       `yaml:"unit"`
	Value    written.Text `yaml:"value"`
	Requires string       `yaml:"requires"`
}

// Every fault says where, shows the line with a caret, and hints where it can.
func TestFaults(t *testing.T) {
	cases := []struct {
		name, text   string
		line, column int
		message      string // part of the whole text
	}{
		{"unknown key", "title: a\ntitel: b\n", 2, 1, "did you mean title?"},
		{"unknown key, nested", "parts:\n  - unit: cm\n    unti: mm\n", 3, 5, "did you mean unit?"},
		{"known key in the wrong place", "title: a\nunit: cm\n", 2, 1, "unit has its place elsewhere in such a file, not here"},
		{"unknown key below a named entry", "named:\n  x: {requirs: a}\n", 2, 7, "did you mean requires?"},
		{"unknown key without a likely one", "zzzzzzzzzzz: 1\n", 1, 1, `unknown field "zzzzzzzzzzz"`},
		{"duplicate key", "title: a\ncount: 1\ntitle: b\n", 3, 1, "title"},
		{"duplicate key, nested", "named:\n  x: {unit: a}\n  x: {unit: b}\n", 3, 3, "x"},
		{"wrong type", "title: a\ncount: many\n", 2, 8, "many"},
		{"anchor", "title: &a b\n", 1, 8, "anchors"},
		{"alias", "title: &a b\nwords: {x: *a}\n", 1, 8, "anchors"},
		{"tag", "title: !!str b\n", 1, 8, "tags"},
		{"merge key", "named:\n  x: &x {unit: a}\n  y: {<<: *x}\n", 2, 6, "merge keys"},
		{"two documents", "title: a\n---\ntitle: b\n", 2, 1, "more than one document"},
		{"broken", "title: [a\n", 1, 8, ""},
		{"list where a map is wanted", "- a\n", 1, 1, ""},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			var s sample
			err := datafile.Decode("x.yaml", []byte(c.text), &s)
			var e *fault.Error
			if !errors.As(err, &e) {
				t.Fatalf("got %v", err)
			}
			if e.Line != c.line || e.Column != c.column {
				t.Errorf("at %d:%d, want %d:%d: %v", e.Line, e.Column, c.line, c.column, err)
			}
			if !strings.Contains(e.Error(), c.message) {
				t.Errorf("got %v, want %q", err, c.message)
			}
			source := strings.Split(c.text, "\n")[c.line-1]
			if want := "\n  " + source + "\n  " + strings.Repeat(" ", c.column-1) + "^"; !strings.Contains(e.Error(), want) {
				t.Errorf("line and caret not shown: %v", err)
			}
		})
	}
}

func TestEmpty(t *testing.T) {
	for _, text := range []string{"", "# nothing\n", "---\n", "# a\n\n# b\n"} {
		var s sample
		if err := datafile.Decode("x.yaml", []byte(text), &s); !errors.Is(err, datafile.ErrEmpty) {
			t.Errorf("%q: %v", text, err)
		}
	}
}

func TestTooLarge(t *testing.T) {
	var s sample
	text := "title: " + strings.Repeat("a", bound.MaxSize)
	if err := datafile.Decode("x.yaml", []byte(text), &s); err == nil || !strings.Contains(err.Error(), "larger than") {
		t.Errorf("got %v", err)
	}
}

func TestWritten(t *testing.T) {
	var s sample
	text := "parts:\n  - value: 2.90\n  - value: \"2.90\"\n  - value: 007\n  - value: 8 mm[Hg]\n  - value: |-\n      two\n      lines\n"
	if err := datafile.Decode("x.yaml", []byte(text), &s); err != nil {
		t.Fatal(err)
	}
	for i, want := range []written.Text{"2.90", "2.90", "007", "8 mm[Hg]", "two\nlines"} {
		if s.Parts[i].Value != want {
			t.Errorf("value %d: %q, want %q", i, s.Parts[i].Value, want)
		}
	}
	if err := datafile.Decode("x.yaml", []byte("parts: [{value: [1]}]\n"), &s); err == nil || !strings.Contains(err.Error(), "plain value") {
		t.Errorf("a list as plain value: %v", err)
	}
}

func TestPosition(t *testing.T) {
	src := []byte("title: \"quoted\"\nparts:\n  - unit: cm\n  - unit: mm\nnamed:\n  apical-four-chamber: {unit: s}\nwords:\n  long: |\n    first\n    second\n")
	cases := []struct {
		path         string
		line, column int
	}{
		{"$.title", 1, 9}, // the text, not the quote
		{"$.parts[1].unit", 4, 11},
		{"$.named.apical-four-chamber.unit", 6, 31},
		{"$.words.long", 9, 5},
		{"$.nothing", 0, 0},
		{"$[", 0, 0},
	}
	for _, c := range cases {
		if line, column := datafile.NewPlaces("x.yaml", src).Position(c.path); line != c.line || column != c.column {
			t.Errorf("%s at %d:%d, want %d:%d", c.path, line, column, c.line, c.column)
		}
	}
	if line, column := datafile.NewPlaces("x.yaml", []byte("a: [\n")).Position("$.a"); line != 0 || column != 0 {
		t.Error("position in a broken file")
	}
}

var faulty = []string{"title: a\n", "parts: [{value: 1}]", "a: &b c", "- x", "? [a]\n: b", "named: {<<: 1}", "title: |\n  a\n"}

func checkDecode(t *testing.T, src []byte) string {
	var s sample
	err := datafile.Decode("x.yaml", src, &s)
	var e *fault.Error
	if err != nil && !errors.As(err, &e) {
		t.Fatalf("not a located error: %v", err)
	}
	datafile.NewPlaces("x.yaml", src).Position("$.parts[0].value")
	if err != nil {
		return e.Message
	}
	return "read"
}

func FuzzDecode(f *testing.F) {
	for _, s := range faulty {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, src []byte) { checkDecode(t, src) })
}

func TestMutationsOfDataFiles(t *testing.T) {
	var seeds [][]byte
	for _, s := range faulty {
		seeds = append(seeds, []byte(s))
	}
	tokens := []string{"title: ", "parts:\n  - ", "named: {", "value: ", "unit: ", "\n", "\n  ", "\n    - ", ": ", "- ", "{", "}", "[", "]", "&a ", "*a", "<<: ", "!!str ", "|-\n", ">\n", "\"", "'", "# ", "---\n", "...\n", "? ", "null", "~", "0x1F", ".inf", "\t", "\xef\xbb\xbf", "é"}
	mutate.Run(t, mutate.Source{Seeds: seeds, Tokens: tokens, Target: "FuzzDecode"}, checkDecode)
}
