// Package ledgerfile owns the files that a ledger lies in, whatever stands in them:
// its own, and the two that the database keeps beside it while it is open. It makes
// them for their owner only, copies them, moves them aside and makes that last.
package ledgerfile

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"echotally/internal/store/fault"
)

// suffixes are those of the files of a ledger: it, its log, the index of the log.
func suffixes() []string { return []string{"", "-wal", "-shm"} }

// Regular refuses what is no regular file before it is opened: a pipe would wait for
// a writer for ever.
func Regular(file string) error {
	info, err := os.Stat(file)
	if err == nil && !info.Mode().IsRegular() {
		err = &fault.Error{Doing: "open ledger", Reason: "it is no regular file", Hint: "give the file that echotally intake made, or a new name"}
	}
	return err
}

// Create makes an empty file that only its owner may read.
func Create(file string) error {
	f, err := os.OpenFile(file, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	switch {
	case errors.Is(err, fs.ErrExist):
		return nil // another process was quicker
	case errors.Is(err, fs.ErrNotExist):
		return &fault.Error{Doing: "create ledger", Reason: "its folder is not there", Hint: "make the folder, or name another place with --store", Cause: err}
	case err != nil:
		return err
	}
	return f.Close()
}

// MayWrite tells in the system's words when a file cannot be written to.
func MayWrite(file string) error {
	f, err := os.OpenFile(file, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return f.Close()
}

// MayAdd reports whether a file can be made in the folder.
func MayAdd(dir string) bool {
	f, err := os.CreateTemp(dir, ".echotally-*")
	if err != nil {
		return false
	}
	name := f.Name()
	return errors.Join(f.Close(), os.Remove(name)) == nil
}

// Sync brings a file to the disk.
func Sync(file string) error {
	f, err := os.OpenFile(file, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// FreeName is the name, or the first of those with a number behind it, that
// nothing has, so that no ledger set aside earlier is lost.
func FreeName(name string) string {
	free := func(name string) bool {
		for _, suffix := range suffixes() {
			if _, err := os.Lstat(name + suffix); !errors.Is(err, fs.ErrNotExist) {
				return false
			}
		}
		return true
	}
	out := name
	for n := 2; !free(out); n++ {
		out = fmt.Sprintf("%s.%d", name, n)
	}
	return out
}

// Copy copies a backup to a new file, which only its owner may read.
func Copy(ctx context.Context, from, to string) error {
	if err := Regular(from); err != nil {
		return err
	}
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	for err == nil && ctx.Err() == nil { // a large one is given up between two pieces
		_, err = io.CopyN(out, in, 16<<20)
	}
	if errors.Is(err, io.EOF) {
		err = nil
	}
	return errors.Join(err, ctx.Err(), out.Sync(), out.Close())
}

// SyncFolder makes a rename last. Systems that cannot sync a folder do without.
func SyncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	_ = d.Sync()
	return nil
}

// Remove takes out a ledger with what lies beside it.
func Remove(file string) {
	for _, suffix := range suffixes() {
		os.Remove(file + suffix)
	}
}

// Rename gives a ledger another name, with what lies beside it.
func Rename(from, to string) error {
	for _, suffix := range suffixes() {
		if err := os.Rename(from+suffix, to+suffix); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return nil
}
