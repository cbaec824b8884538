package booklet

import (
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"

	"echotally/internal/printable"
	"echotally/internal/table"
	"echotally/internal/table/record"

	"golang.org/x/sync/errgroup"
)

// File is one file of a set.
type File struct {
	Name  string
	Write func(io.Writer) error
}

// Files writes the files to a folder, some at a time, and each table as CSV with the
// dictionary of all. It returns the names of the files.
func Files(dir string, files []File, tables []table.Table) ([]string, error) {
	files = append(files, File{"dictionary.csv", func(w io.Writer) error { return record.DictionaryCSV(w, tables) }})
	for _, t := range tables {
		files = append(files, File{t.Identifier + ".csv", func(w io.Writer) error { return record.CSV(w, t) }})
	}
	var group errgroup.Group
	group.SetLimit(runtime.NumCPU())
	names, failed := make([]string, len(files)), make([]error, len(files))
	for i, f := range files {
		names[i] = f.Name
		group.Go(func() error {
			if err := writeFile(filepath.Join(dir, f.Name), f.Write); err != nil {
				failed[i] = fmt.Errorf("write %s: %w", f.Name, err)
			}
			return failed[i]
		})
	}
	if group.Wait() != nil {
		return nil, cmp.Or(failed...) // the first of the set, whichever failed first
	}
	return names, nil
}

// writeFile leaves no half-written file behind.
func writeFile(path string, write func(io.Writer) error) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	held := bufio.NewWriterSize(f, 1<<16)
	to := io.Writer(held)
	switch filepath.Ext(path) {
	case ".html", ".csv", ".json":
		to = printable.NewWriter(held)
	}
	if err = errors.Join(write(to), held.Flush(), f.Close()); err != nil {
		os.Remove(path)
	}
	return err
}
