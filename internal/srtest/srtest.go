// Package srtest is test support: it finds the shared sample folder and builds
// reports from short descriptions.
package srtest

import (
	"os"
	"path/filepath"
	"runtime"
	"testing"
)

// Shared returns the path of a file or folder below the shared material that
// lies beside the repository, or skips the test.
func Shared(t testing.TB, elem ...string) string {
	t.Helper()
	_, self, _, _ := runtime.Caller(0)
	root := filepath.Join(filepath.Dir(self), "..", "..", "..", "shared")
	path := filepath.Join(append([]string{root}, elem...)...)
	if _, err := os.Stat(path); err != nil {
		t.Skipf("shared material %s is not beside the repository: this check needs it", filepath.Join(elem...))
	}
	return path
}
