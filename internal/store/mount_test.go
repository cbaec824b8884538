//go:build linux

package store

import (
	"os"
	"syscall"
	"testing"
)

// mountTmpfs mounts a small file system in memory, or skips the test: that
// needs root.
func mountTmpfs(t *testing.T, dir, options string) {
	t.Helper()
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, options); err != nil {
		t.Skipf("no file system can be mounted here (%v): this check needs root", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil {
			t.Errorf("unmount: %v", err)
		}
	})
}

func remountReadOnly(t *testing.T, dir string) {
	t.Helper()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Skipf("cannot be made read-only here: %v", err)
	}
}
