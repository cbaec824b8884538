//go:build !linux

package store

import "testing"

func mountTmpfs(t *testing.T, _, _ string) {
	t.Helper()
	t.Skip("no file system is mounted in tests on this system")
}

func remountReadOnly(*testing.T, string) {}
