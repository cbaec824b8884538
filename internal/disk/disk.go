// Package disk owns bringing small files to the disk so that a crash leaves them whole:
// a file that is replaced, a file that lines are added to, and the mark that a folder is
// in use.
package disk

import (
	"errors"
	"os"
	"path/filepath"
)

// SyncFolder brings the names in a folder to the disk.
func SyncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// Write writes a file that is there whole or not at all: until then, one that was there
// stays. Only its owner may read it. What a crash leaves of it begins with a dot.
func Write(path string, content []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".part-*") // private from the start
	if err != nil {
		return err
	}
	_, err = f.Write(content)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return SyncFolder(filepath.Dir(path))
}
