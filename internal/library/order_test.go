package library_test

import (
	"testing"
	"testing/fstest"

	"echotally/internal/library"
)

// Rules stand in the order of their identifiers: a judgement that lists what
// applied and what did not is put together by it.
func TestRulesAreInOrderOfTheirIdentifiers(t *testing.T) {
	const body = "title: A rule\nstatus: draft\nkind: form\nseverity: information\nversion: \"1.0.0\"\npurpose: Why.\nusage: What.\nsources: [common practice]\nforbid: [notVerified]\n"
	files := fstest.MapFS{}
	for _, name := range []string{"document/graded", "document/graded-once", "document/grade"} {
		files[name+".yaml"] = &fstest.MapFile{Data: []byte("identifier: " + name + "\n" + body)}
	}
	lib, err := library.Load(library.Settings{Drafts: true}, files)
	if err != nil {
		t.Fatal(err)
	}
	last := ""
	for _, r := range lib.Rules {
		if r.File.Identifier < last {
			t.Errorf("%s comes after %s", r.File.Identifier, last)
		}
		last = r.File.Identifier
	}
	if len(lib.Rules) != 3 {
		t.Errorf("%d rules", len(lib.Rules))
	}
}
