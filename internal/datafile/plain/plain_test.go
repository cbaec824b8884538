package plain_test

import (
	"io/fs"
	"path"
	"reflect"
	"strings"
	"testing"

	"echotally/internal/datafile"
	"echotally/internal/datafile/bound"
	"echotally/internal/datafile/plain"
	"echotally/internal/datafile/written"
	"echotally/internal/mutate"
	"echotally/rules"
)

// Every shipped file is read by the quick reader, and holds what the YAML
// library reads in it.
func TestShippedFilesAreReadQuickly(t *testing.T) {
	err := fs.WalkDir(rules.FS, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || path.Ext(name) != ".yaml" {
			return err
		}
		src, err := fs.ReadFile(rules.FS, name)
		if err != nil {
			return err
		}
		nodes, ok := plain.ReadTree(string(src), "")
		if !ok {
			t.Errorf("%s is beyond the quick reader; it would be slow to load", name)
			return nil
		}
		if what := plain.Differs(nodes, string(src)); what != "" {
			t.Errorf("%s: %s", name, what)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// What stands under a key is passed over in any mapping, whatever its form.
func TestAKeyIsLeftOut(t *testing.T) {
	for src, rest := range map[string]string{
		"a: 1\nexamples:\n  - b: c\n\n  # more\n  - d\ne: 2\n": "a: 1\ne: 2\n",
		"a: 1\nexamples:\n- b\n- c\ne: 2\n":                    "a: 1\ne: 2\n",
		"a: 1\nexamples: [b,\n  c]\n":                          "a: 1\n",
		"a: 1\nexamples:\n  - b":                               "a: 1\n",
		"a:\n  examples:\n    - b\n  c: 1\n":                   "a:\n  c: 1\n",
		"a:\n  - examples: b\n    c: 1\n  - d: 2\n":            "a:\n  - c: 1\n  - d: 2\n",
		"a: 1\nexamplesOf: 2\n":                                "a: 1\nexamplesOf: 2\n",
		"examples:\n  a:\n    b: 1\nc: 2\n":                    "c: 2\n",
	} {
		got, read := plain.ReadTree(src, "examples")
		want, wantRead := plain.ReadTree(rest, "")
		if !read || !wantRead || !reflect.DeepEqual(got, want) {
			t.Errorf("%q without examples: %+v (%t), want %+v", src, got, read, want)
		}
	}
}

type everything struct {
	Text   string            `yaml:"text"`
	As     written.Text      `yaml:"as"`
	Whole  int               `yaml:"whole"`
	Real   *float64          `yaml:"real"`
	Yes    bool              `yaml:"yes"`
	List   []everything      `yaml:"list"`
	Map    map[string]string `yaml:"map"`
	Self   *choice           `yaml:"self"`
	Limits `yaml:",inline"`
}

// Limits are inlined.
type Limits struct {
	Low written.Range `yaml:"low"`
}

// choice is a word or a list.
type choice []string

func (c *choice) UnmarshalYAML(decode func(any) error) error {
	var s written.Shape
	if err := decode(&s); err != nil {
		return err
	}
	if s == written.Sequence {
		return decode((*[]string)(c))
	}
	var one string
	err := decode(&one)
	*c = choice{one}
	return err
}

// checkPlain: what the quick reader takes, the library takes as well and for the same.
func checkPlain(t *testing.T, src string) string {
	if bound.Check("x.yaml", []byte(src)) != nil {
		return "out of bounds" // such as a text full of brackets, which the guard before the library takes for nesting
	}
	nodes, ok := plain.ReadTree(src, "")
	if ok {
		if what := plain.Differs(nodes, src); what != "" {
			t.Fatalf("%s\n%s", what, src)
		}
	}
	var quick, slow everything
	if !plain.Decode(src, "", reflect.ValueOf(&quick).Elem()) {
		return "left to the library" + plain.Shape(nodes)
	}
	if err := datafile.DecodeByLibrary("x.yaml", []byte(src), &slow); err != nil {
		t.Fatalf("the library refuses it: %v\n%s", err, src)
	}
	if !reflect.DeepEqual(quick, slow) {
		t.Fatalf("read %+v, want %+v\n%s", quick, slow, src)
	}
	return "read" + plain.Shape(nodes)
}

func plainSeeds(t testing.TB) []string {
	out := seeds
	for _, name := range []string{"abbreviations.yaml", "terms.yaml", "measurand/tricuspid-valve.yaml", "phrases/en.yaml", "tricuspid-valve/possible.yaml"} {
		src, err := fs.ReadFile(rules.FS, name)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, string(src[:min(len(src), 2000)]))
	}
	return out
}

func FuzzPlain(f *testing.F) {
	for _, s := range plainSeeds(f) {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, src []byte) { checkPlain(t, string(src)) })
}

func TestMutationsOfPlainFiles(t *testing.T) {
	var from [][]byte
	for _, s := range plainSeeds(t) {
		from = append(from, []byte(s[:min(len(s), 400)]))
	}
	tokens := []string{"text: ", "list:\n  - ", "map: {", "as: ", "self: ", "low: {", "\n", "\n  ", "\n    - ", ": ", "- ", "{", "}", "[", "]", ", ", "&a ", "*a", "|-\n", ">\n", "\"", "''", " # ", "---\n", "null", "~", "0x1F", "1_000", ".inf", "\t", "\r\n", "é"}
	mutate.Run(t, mutate.Source{Seeds: from, Tokens: tokens, Target: "FuzzPlain"}, func(t *testing.T, b []byte) string {
		return checkPlain(t, string(b))
	})
}

var seeds = []string{
	"text: a\nas: 2.90\nwhole: 12\nreal: -0.5\nyes: true\n",
	"# comment\ntext: >-\n  one\n  two\n\n  three # no comment\nas: |\n  a\n   b\n",
	"list:\n  - {text: \"a \\\"b\\\"\", as: 8 mm[Hg]}\n  - text: b\n    self: [no, \"2\", x y]\n",
	"list:\n- text: a # b\n- as: '2'\nmap: {a: b, c: d}\n",
	"map:\n  Some Name 2015: a, b (c) é\n  x: y: z\n",
	"low: {low: {value: 18, unit: a}}\nself: one\n", "map: {}\nlist: []\n", "text: a\ntext: b\n", "list: [{text: a,\n   as: b}, {}]\n",
	"self:\n  - a\n  - b: c\n", "text: null\nas: ~\n", "text: \"a\n b\"\n", "text: a\n  b\n", "- a\n- - b\n", "text:\n", "text: &a b\n", "text: |-\n\n  x\n",
	"yes: yes\n", "whole: 1e3\nreal: .5\n", "as: 007\n", "as: 2020-01-01\n", "text: >\n  a\n b\n", "as: 'it''s'\n", "map: {\"a\":b}\n", "text: a:b\n", "text: 'a' b\n",
	"---\ntext: a\n", "text: a\n...\n", "text: - a\n", "text: a #b\n#c\n", "list: [ {text: a} , {text: b}, ]\n", "text: !a b\n", "map: {a: {b: c}}\n", strings.Repeat("[", 50),
}
