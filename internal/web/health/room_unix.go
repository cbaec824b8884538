//go:build unix

package health

import "golang.org/x/sys/unix"

// room is how much of the disk below a folder is free, in bytes; 0 where the system does
// not tell.
func room(dir string) (free, total int64) {
	var s unix.Statfs_t
	if unix.Statfs(dir, &s) != nil {
		return 0, 0
	}
	return int64(s.Bavail) * int64(s.Bsize), int64(s.Blocks) * int64(s.Bsize)
}
