package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// sniffed is how much of a file is looked at to know an earlier output again.
const sniffed = 4096

// spared refuses an output in the place of a file that is read or that is not
// ours. A file that is there may be replaced when it begins as an output of its
// kind does, or is empty; any other with --force, unless it is read.
func (o *outputFlags) spared(reads []string, ours func(head []byte) bool) error {
	if o.output == "-" {
		return nil
	}
	there, err := os.Stat(o.output)
	if err != nil || !there.Mode().IsRegular() {
		return nil // nothing is replaced; what cannot be written to is said when it is
	}
	for _, path := range reads {
		if given, err := os.Stat(path); err == nil && os.SameFile(there, given) {
			return faults{hinted{fmt.Errorf("--output %s is one of the files to read", o.output), "write to another file"}}
		}
	}
	head, err := beginning(o.output)
	switch {
	case err == nil && (len(head) == 0 || ours(head)):
		return nil
	case !o.force:
		return faults{hinted{fmt.Errorf("--output %s is there and is no earlier output of this kind", o.output), "write to another file, or give --force to replace it"}}
	case readBelow(reads, there):
		return faults{hinted{fmt.Errorf("--output %s is one of the files to read", o.output), "write to another file; --force replaces none that is read"}}
	}
	return nil
}

func beginning(path string) ([]byte, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	head, err := io.ReadAll(io.LimitReader(file, sniffed))
	return head, err
}

// readBelow looks for the file in the folders that are read, under any name.
func readBelow(folders []string, file fs.FileInfo) bool {
	found := errors.New("found")
	for _, folder := range folders {
		root, err := filepath.EvalSymlinks(folder)
		if err != nil {
			continue // reading says what is wrong with it
		}
		err = filepath.WalkDir(root, func(path string, entry fs.DirEntry, err error) error {
			switch {
			case err != nil && entry != nil && entry.IsDir():
				return fs.SkipDir
			case err != nil || !entry.Type().IsRegular():
				return nil
			case strings.HasPrefix(entry.Name(), "."):
				return nil
			}
			if info, err := entry.Info(); err == nil && os.SameFile(info, file) {
				return found
			}
			return nil
		})
		if errors.Is(err, found) {
			return true
		}
	}
	return false
}
