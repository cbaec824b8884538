package draft

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
)

// TestADraftIsTriedAndThenKept: the layer reads as the folder does after Keep, and a file
// that is there is not written over.
func TestADraftIsTriedAndThenKept(t *testing.T) {
	d, folder := Draft{Name: "right-ventricle/tapse-present.yaml", Text: "severity: error\n"}, filepath.Join(t.TempDir(), "own")
	layer, err := d.Layer()
	if err != nil {
		t.Fatal(err)
	}
	if d.Taken(folder) {
		t.Error("taken before it was kept")
	}
	if err := d.Keep(folder); err != nil {
		t.Fatal(err)
	}
	for _, one := range []fs.FS{layer, os.DirFS(folder)} {
		names, err := fs.Glob(one, "*/*.yaml")
		if err != nil || len(names) != 1 || names[0] != d.Name {
			t.Errorf("%v, %v", names, err)
		}
		if text, err := fs.ReadFile(one, d.Name); err != nil || string(text) != d.Text {
			t.Errorf("%q, %v", text, err)
		}
	}
	other := Draft{Name: d.Name, Text: "severity: warning\n"}
	if err := other.Keep(folder); !errors.Is(err, fs.ErrExist) || !other.Taken(folder) {
		t.Errorf("written over another: %v", err)
	}
	if text, _ := os.ReadFile(filepath.Join(folder, filepath.FromSlash(d.Name))); string(text) != d.Text {
		t.Errorf("the first is %q", text)
	}
}
