package extract_test

import (
	"io/fs"
	"path/filepath"
	"testing"

	"echotally/internal/demo"
)

// Every report of the demo lab, as pydicom reads it.
func TestDemoLabAgainstPydicom(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "lab")
	studies := 0 // all kinds
	if testing.Short() {
		studies = 6
	}
	if _, err := demo.Write(dir, demo.Options{Studies: studies}); err != nil {
		t.Fatal(err)
	}
	var files []string
	err := filepath.WalkDir(dir, func(path string, entry fs.DirEntry, err error) error {
		if err == nil && filepath.Ext(path) == ".dcm" {
			files = append(files, path)
		}
		return err
	})
	if err != nil || len(files) == 0 {
		t.Fatalf("no reports: %v", err)
	}
	compareAll(t, files, 500)
}
