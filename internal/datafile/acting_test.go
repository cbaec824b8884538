package datafile_test

import (
	"strings"
	"testing"

	"echotally/internal/datafile"
)

// A text that would act on what shows it is refused, however it is written, and a title
// that would end its line.
func TestTextsThatActAreRefused(t *testing.T) {
	for _, src := range []string{
		`title: "a\nb"`, `title: "a\tb"`, `title: "a\e[2Jb"`, `title: "a\u202eb"`, "title: |\n  a\n  b\n", "title: >\n  a\n\n  b\n", "title: >-\n  a\n\n  b\n", "title: a\n\n  b\n",
		"title: |-\n  a\n  b\n", "title: 'a\n\n  b'\n", "title:   |\n  a\n  b\n", "title: !!str |\n  a\n  b\n", "\"title\": |\n  a\n  b\n", "title:\n  |\n  a\n  b\n",
		"title: a\u202eb\n", "title: a\u2028b\n", `parts: [{unit: "a\u009bb"}]`, `words: {"a\nb\e": c}`, "words: {a: \"\x7f\"}", `{title: "a\Lb"}`, `title: "a\x0Ab"`,
	} {
		var s sample
		if err := datafile.Decode("x.yaml", []byte(src), &s); err == nil {
			t.Errorf("%q is read: %+v", src, s)
		} else if strings.ContainsAny(err.Error(), "\x1b\u202e\u2028\u009b\x7f") {
			t.Errorf("%q: the fault says it as it is: %q", src, err)
		}
	}
	for _, src := range []string{"title: >-\n  a\n  b\n", "title: a\n  b\n", "words: {a: \"b\\nc\"}", "title: a\n\ncount: 1\n"} {
		var s sample
		if err := datafile.Decode("x.yaml", []byte(src), &s); err != nil {
			t.Errorf("%q: %v", src, err)
		}
	}
}
