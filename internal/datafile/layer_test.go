package datafile_test

import (
	"testing"
	"testing/fstest"

	"echotally/internal/datafile"
	"echotally/rules"
)

func TestOnlyWhatIsEmbeddedIsLinted(t *testing.T) {
	if !datafile.Linted(rules.FS) || datafile.Linted(fstest.MapFS{}) || datafile.Linted(datafile.Unlinted(rules.FS)) {
		t.Error("linted is what is embedded, unless that is hidden")
	}
}

func TestWithout(t *testing.T) {
	for src, want := range map[string]string{
		"a: 1\nexamples:\n  - b: c\n\n  # more\n  - d\ne: 2\n": "a: 1\ne: 2\n",
		"a: 1\nexamples:\n- b\n- c\ne: 2\n":                    "a: 1\ne: 2\n",
		"a: 1\nexamples: [b,\n  c]\n":                          "a: 1\n",
		"a: 1\nexamples:\n  - b":                               "a: 1\n",
		"a:\n  examples:\n    - b\n  c: 1\n":                   "a:\n  c: 1\n",
		"a: 1\nexamplesOf: 2\n":                                "a: 1\nexamplesOf: 2\n",
	} {
		if got := string(datafile.Without([]byte(src), "examples")); got != want {
			t.Errorf("%q without examples is %q, want %q", src, got, want)
		}
	}
}
