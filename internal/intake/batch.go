package intake

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
	"strings"

	"github.com/rs/zerolog"

	"echotally/internal/intake/archive"
	"echotally/internal/printable"
)

// Stdin is the path that stands for standard input.
const Stdin = "-"

// Bounds of what is taken from standard input, which is held in memory: an object
// and an archive.
const (
	StreamLimit  = WholeLimit
	archiveLimit = 256 << 20
)

// divider stands between the path of an archive and that of an entry.
const divider = "!"

// Batch is everything found, sorted by path. Close it after the last read:
// it keeps archives open.
type Batch struct {
	Objects []Object
	closers []io.Closer
}

// Close closes the archives.
func (b *Batch) Close() error {
	var first error
	for _, c := range b.closers {
		if err := c.Close(); err != nil && first == nil {
			first = err
		}
	}
	return first
}

// PathError is a given path that cannot be used at all.
type PathError struct {
	Path, Reason, Hint string
}

func (e *PathError) Error() string { return printable.Line(e.Path) + ": " + e.Reason }

// Find lists everything below the paths. A path that does not exist is a
// *PathError and nothing is listed; a file or folder that cannot be opened
// further down is an object that says so.
func Find(ctx context.Context, paths []string, stdin io.Reader, log zerolog.Logger) (*Batch, error) {
	f := &finder{ctx: ctx, seen: map[string]bool{}}
	for _, p := range paths {
		if err := f.given(p, stdin); err != nil {
			f.batch.Close()
			return nil, err
		}
	}
	sort.SliceStable(f.batch.Objects, func(i, j int) bool { return f.batch.Objects[i].Path < f.batch.Objects[j].Path })
	log.Debug().Int("objects", len(f.batch.Objects)).Int("archives", len(f.batch.closers)).Msg("files listed")
	return &f.batch, nil
}

// List lists files that were found some other way, each as [Find] lists it
// when it lies in a folder. One that is gone is an object that says so.
func List(ctx context.Context, files []string, log zerolog.Logger) (*Batch, error) {
	f := &finder{ctx: ctx, seen: map[string]bool{}}
	for _, path := range files {
		info, err := os.Lstat(path)
		if err != nil {
			f.add(Object{Path: path, Unreadable: true, Reason: ReasonOf(err)})
			continue
		}
		if !info.Mode().IsRegular() { // another took its place meanwhile
			f.add(Object{Path: path, Reason: "not a regular file"})
			continue
		}
		if err := f.file(path, info.Size(), false); err != nil {
			f.batch.Close()
			return nil, err
		}
	}
	sort.SliceStable(f.batch.Objects, func(i, j int) bool { return f.batch.Objects[i].Path < f.batch.Objects[j].Path })
	log.Debug().Int("objects", len(f.batch.Objects)).Msg("files listed")
	return &f.batch, nil
}

type finder struct {
	ctx   context.Context
	batch Batch
	seen  map[string]bool
}

// add lists an object once, also when two of the given paths lead to it.
func (f *finder) add(o Object) {
	o.Path = filepath.ToSlash(o.Path)
	if f.seen[o.Path] {
		return
	}
	f.seen[o.Path] = true
	f.batch.Objects = append(f.batch.Objects, o)
}

func (f *finder) given(path string, stdin io.Reader) error {
	if path == Stdin {
		if stdin == nil {
			return &PathError{path, "there is no standard input", "give a file or folder"}
		}
		return f.stream("stdin", func() (io.ReadCloser, error) { return io.NopCloser(stdin), nil })
	}
	info, err := os.Stat(path)
	if err != nil {
		return &PathError{path, ReasonOf(err), "check the spelling; give a file, a folder, a zip archive or - for standard input"}
	}
	switch {
	case info.IsDir():
		return f.folder(filepath.Clean(path))
	case !info.Mode().IsRegular():
		return f.stream(path, func() (io.ReadCloser, error) { return os.Open(path) })
	}
	return f.file(filepath.Clean(path), info.Size(), true)
}

// Root is the name by which a folder that was given is walked. A link to it would
// not be followed without the divider at its end.
func Root(folder string) string {
	if info, err := os.Lstat(folder); err == nil && info.Mode()&fs.ModeSymlink != 0 {
		return folder + string(filepath.Separator)
	}
	return folder
}

func (f *finder) folder(folder string) error {
	root := Root(folder)
	return filepath.WalkDir(root, func(path string, entry fs.DirEntry, err error) error {
		if f.ctx.Err() != nil {
			return f.ctx.Err()
		}
		if err != nil {
			f.add(Object{Path: path, Unreadable: true, Reason: ReasonOf(err), Hint: "check the permissions"})
			if entry != nil && entry.IsDir() {
				return fs.SkipDir
			}
			return nil
		}
		hidden := path != root && strings.HasPrefix(entry.Name(), ".")
		switch {
		case hidden && entry.IsDir():
			f.add(Object{Path: path, Reason: "hidden folder, not entered"})
			return fs.SkipDir
		case entry.IsDir():
			return nil
		case hidden:
			f.add(Object{Path: path, Reason: "hidden file"})
			return nil
		case entry.Type()&fs.ModeSymlink != 0:
			f.add(Object{Path: path, Reason: "symbolic link, not followed", Hint: "give the link itself as a path to have it read"})
			return nil
		case !entry.Type().IsRegular():
			f.add(Object{Path: path, Reason: "not a regular file"})
			return nil
		}
		info, err := entry.Info()
		if err != nil {
			f.add(Object{Path: path, Unreadable: true, Reason: ReasonOf(err)})
			return nil
		}
		return f.file(path, info.Size(), false)
	})
}

// file lists a file on disk, or what a zip archive holds.
func (f *finder) file(path string, size int64, given bool) error {
	file, err := os.Open(path)
	if err != nil {
		f.add(Object{Path: path, Size: size, Unreadable: true, Reason: ReasonOf(err), Hint: "check the permissions"})
		return nil
	}
	head := make([]byte, 4)
	n, _ := io.ReadFull(file, head)
	if archive.Is(head[:n]) {
		if f.seen[path+divider] { // another of the given paths led to it
			return file.Close()
		}
		f.seen[path+divider] = true
		return f.archive(path, file, file, size)
	}
	file.Close()
	f.add(named(Object{Path: path, Size: size, given: given, open: func() (io.ReadCloser, error) { return os.Open(path) }}))
	return nil
}

// archive lists the entries of a zip archive; one that is not opened is an object set
// aside as unreadable.
func (f *finder) archive(path string, r io.ReaderAt, closer io.Closer, size int64) error {
	entries, err := archive.List(r, size)
	if refused, is := errors.AsType[*archive.Refusal](err); is {
		if closer != nil {
			closer.Close()
		}
		f.add(Object{Path: path, Size: size, Unreadable: true, Reason: refused.Reason, Hint: refused.Hint})
		return nil
	}
	if closer != nil {
		f.batch.closers = append(f.batch.closers, closer)
	}
	for _, e := range entries {
		if err := f.ctx.Err(); err != nil {
			return err
		}
		o := Object{Path: path + divider + e.Name, Size: e.Size, Reason: e.Reason, Hint: e.Hint, Unreadable: e.Unreadable, open: e.Open}
		if e.Reason == "" {
			o = named(o)
		}
		f.addEntry(o)
	}
	return nil
}

// addEntry lists an entry, also the second of one name, which is another object.
func (f *finder) addEntry(o Object) {
	name := o.Path
	for n := 2; f.seen[filepath.ToSlash(o.Path)]; n++ {
		o.Path = fmt.Sprintf("%s (entry %d of this name)", name, n)
	}
	f.add(o)
}

// stream takes one file or archive from a pipe into memory. Opening and
// reading a pipe may wait for ever, so the wait ends with the context.
func (f *finder) stream(name string, open func() (io.ReadCloser, error)) error {
	type result struct {
		content []byte
		err     error
	}
	read := make(chan result, 1)
	go func() {
		pipe, err := open()
		if err != nil {
			read <- result{nil, err}
			return
		}
		defer pipe.Close()
		content, err := io.ReadAll(io.LimitReader(pipe, StreamLimit+1))
		if err == nil && len(content) > StreamLimit && archive.Is(content) {
			var rest []byte
			rest, err = io.ReadAll(io.LimitReader(pipe, archiveLimit-StreamLimit))
			content = append(content, rest...)
		}
		read <- result{content, err}
	}()
	var content []byte
	select {
	case <-f.ctx.Done():
		return f.ctx.Err()
	case r := <-read:
		if r.err != nil {
			return &PathError{name, ReasonOf(r.err), ""}
		}
		content = r.content
	}
	limit := StreamLimit
	if archive.Is(content) {
		limit = archiveLimit
	}
	if len(content) > limit {
		return &PathError{name, fmt.Sprintf("more than %d MiB on standard input", limit>>20), "save it to a file and give its path"}
	}
	if archive.Is(content) {
		return f.archive(name, bytes.NewReader(content), nil, int64(len(content)))
	}
	f.add(Object{Path: name, Size: int64(len(content)), given: true,
		open: func() (io.ReadCloser, error) { return io.NopCloser(bytes.NewReader(content)), nil }})
	return nil
}

// named sets aside what its name tells to be no report.
func named(o Object) Object {
	if base := o.Path[strings.LastIndexAny(o.Path, `/\!`)+1:]; base == "DICOMDIR" {
		o.Reason, o.open = "index of the medium (DICOMDIR), holds no measurements", nil
	}
	return o
}

// ReasonOf gives the cause of an I/O error without the path, which the object
// already has.
func ReasonOf(err error) string {
	for {
		switch e := err.(type) {
		case *fs.PathError:
			err = e.Err
		case interface{ Unwrap() error }:
			if e.Unwrap() == nil {
				return err.Error()
			}
			err = e.Unwrap()
		default:
			return err.Error()
		}
	}
}
