package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"

	"echotally/internal/printable"
)

// unfinished keeps the temporary files and folders of a command. None is left
// when the command fails or is interrupted, and none gets its final name after
// that.
type unfinished struct {
	lock  sync.Mutex
	paths map[string]bool
	ended bool
}

func (u *unfinished) add(path string) {
	u.lock.Lock()
	defer u.lock.Unlock()
	if u.paths == nil {
		u.paths = map[string]bool{}
	}
	u.paths[path] = true
}

// finish gives what is whole its final name, unless the command was given up.
func (u *unfinished) finish(path string, rename func() error) error {
	u.lock.Lock()
	defer u.lock.Unlock()
	if u.ended {
		return context.Canceled
	}
	delete(u.paths, path)
	return errors.Join(rename(), os.RemoveAll(path))
}

func (u *unfinished) drop(path string) {
	u.lock.Lock()
	defer u.lock.Unlock()
	delete(u.paths, path)
	os.RemoveAll(path)
}

// giveUp removes whatever is not finished.
func (u *unfinished) giveUp() {
	u.lock.Lock()
	defer u.lock.Unlock()
	u.ended = true
	for path := range u.paths {
		// Whoever still writes into a folder would make it anew while it is removed: a
		// file in its place ends that.
		if gone := path + ".gone"; os.Rename(path, gone) == nil {
			_ = os.WriteFile(path, nil, private)
			os.RemoveAll(gone)
		}
	}
	for path := range u.paths {
		os.RemoveAll(path)
	}
}

// write writes a document. A file gets its name only when it is whole and on
// disk: until then an earlier one stays as it is. A device or a pipe is written
// to as it is. The mode is that of a new file, and what a file that is there may
// at most have.
func (a *app) write(output string, most fs.FileMode, document func(io.Writer) error) error {
	if output == "-" {
		return document(a.stdout)
	}
	const hint = "check that the folder exists and may be written to"
	path, mode, regular, err := destination(output)
	if err != nil {
		return hinted{fmt.Errorf("output: %w", err), hint}
	}
	if !regular {
		return a.writeTo(path, document)
	}
	mode &= most
	file, err := os.OpenFile(hidden(path), os.O_CREATE|os.O_EXCL|os.O_WRONLY, mode)
	if err != nil {
		var failed *fs.PathError
		if errors.As(err, &failed) { // which has the name of a part, that nobody gave
			err = failed.Err
		}
		return hinted{fmt.Errorf("output %s: %w", output, err), hint}
	}
	a.unfinished.add(file.Name())
	if mode != newFile {
		err = file.Chmod(mode) // whatever the umask
	}
	if err == nil {
		err = shown(file, document)
	}
	if err == nil {
		err = file.Sync()
	}
	if err = errors.Join(err, file.Close()); err == nil {
		err = a.unfinished.finish(file.Name(), func() error { return os.Rename(file.Name(), path) })
	}
	if err != nil {
		a.unfinished.drop(file.Name())
		return fmt.Errorf("output %s: %w", output, err)
	}
	return nil
}

// shown writes a document so that no text in it acts on what shows it.
func shown(w io.Writer, document func(io.Writer) error) error {
	safe := printable.NewWriter(w)
	return errors.Join(document(safe), safe.Close())
}

// writeTo writes to what is no regular file. It is there before and stays.
func (a *app) writeTo(path string, document func(io.Writer) error) error {
	file, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err == nil {
		err = errors.Join(shown(file, document), file.Close())
	}
	if err != nil {
		return fmt.Errorf("output %s: %w", path, err)
	}
	return nil
}

// Modes of a new file, before the umask: any, and one that names a patient.
const (
	newFile = 0o666
	private = 0o600
)

// destination follows symbolic links to the file to be written, and gives the
// mode it has or is to get. Of what is no regular file, a link may be one in
// name only (/dev/stdout), so the path stays.
func destination(output string) (path string, mode fs.FileMode, regular bool, err error) {
	info, err := os.Stat(output)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if target, err := os.Readlink(output); err == nil { // a link to what is not there yet
			if !filepath.IsAbs(target) {
				target = filepath.Join(filepath.Dir(output), target)
			}
			return target, newFile, true, nil
		}
		return output, newFile, true, nil
	case err != nil:
		return "", 0, false, err
	case info.IsDir():
		return "", 0, false, fmt.Errorf("%s is a folder", output)
	case !info.Mode().IsRegular():
		return output, 0, false, nil
	}
	if path, err = filepath.EvalSymlinks(output); err != nil { // a descriptor, such as /dev/stdout
		return output, 0, false, nil
	}
	return path, info.Mode().Perm(), true, nil
}

// hidden is a name beside the path that nobody else uses; what begins with a
// dot is not taken for an input.
func hidden(path string) string {
	return filepath.Join(filepath.Dir(path), "."+filepath.Base(path)+"."+rand.Text()[:8]+".part")
}

// fill writes into a folder that must be empty or not there. What is written
// gets its place only when all of it is whole and on disk.
func (a *app) fill(dir string, write func(dir string) error) error {
	if err := empty(dir); err != nil {
		return err
	}
	_, err := os.Stat(dir)
	made := errors.Is(err, fs.ErrNotExist)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	part := filepath.Join(dir, ".part-"+rand.Text()[:8])
	a.unfinished.add(part)
	if err = os.Mkdir(part, 0o755); err == nil {
		err = write(part)
	}
	if err == nil {
		err = syncAll(part)
	}
	if err == nil {
		err = a.unfinished.finish(part, func() error { return moveAll(part, dir) })
	}
	if err != nil {
		a.unfinished.drop(part)
		if made {
			os.Remove(dir)
		}
	}
	return err
}

func syncAll(dir string) error {
	return filepath.WalkDir(dir, func(path string, entry fs.DirEntry, err error) error {
		if err != nil || !entry.Type().IsRegular() {
			return err
		}
		file, err := os.Open(path)
		if err != nil {
			return err
		}
		return errors.Join(file.Sync(), file.Close())
	})
}

// moveAll moves all that is in a folder to another, or nothing.
func moveAll(from, to string) error {
	entries, err := os.ReadDir(from)
	for i, e := range entries {
		if err == nil {
			err = os.Rename(filepath.Join(from, e.Name()), filepath.Join(to, e.Name()))
		}
		if err != nil {
			for _, moved := range entries[:i] {
				os.RemoveAll(filepath.Join(to, moved.Name()))
			}
			return err
		}
	}
	return err
}
