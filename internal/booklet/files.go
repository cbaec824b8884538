package booklet

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"echotally/internal/printable"
	"echotally/internal/table"
	"echotally/internal/table/record"
)

// File is one file of a set.
type File struct {
	Name  string
	Write func(io.Writer) error
}

// Files writes the files to a folder, and each table as CSV with the dictionary
// of all. It returns the names of the files.
func Files(dir string, files []File, tables []table.Table) ([]string, error) {
	files = append(files, File{"dictionary.csv", func(w io.Writer) error { return record.DictionaryCSV(w, tables) }})
	for _, t := range tables {
		files = append(files, File{t.Identifier + ".csv", func(w io.Writer) error { return record.CSV(w, t) }})
	}
	var names []string
	for _, f := range files {
		if err := writeFile(filepath.Join(dir, f.Name), f.Write); err != nil {
			return nil, fmt.Errorf("write %s: %w", f.Name, err)
		}
		names = append(names, f.Name)
	}
	return names, nil
}

// writeFile leaves no half-written file behind.
func writeFile(path string, write func(io.Writer) error) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	to := io.Writer(f)
	switch filepath.Ext(path) {
	case ".html", ".csv", ".json":
		to = printable.NewWriter(f)
	}
	if err = errors.Join(write(to), f.Close()); err != nil {
		os.Remove(path)
	}
	return err
}
