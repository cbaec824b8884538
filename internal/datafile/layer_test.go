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
