package dcmtest

import (
	"os"
	"path/filepath"
	"testing"
)

// Files are the files below a folder, whole or not, in the order of their names.
func Files(t testing.TB, folder string) []string {
	t.Helper()
	var out []string
	err := filepath.WalkDir(folder, func(path string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			out = append(out, path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}
