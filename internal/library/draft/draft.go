// Package draft owns a file of a lab's own rule folder that is not there yet: it is tried
// over what is there before it is kept.
package draft

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// Draft is a file of a lab's own folder that is not there yet.
type Draft struct {
	Name string // within the folder, with slashes
	Text string
}

// Layer is a layer of this file alone, to be tried over others.
func (d Draft) Layer() (fs.FS, error) {
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	f, err := w.Create(d.Name)
	if err == nil {
		_, err = f.Write([]byte(d.Text))
	}
	if err == nil {
		err = w.Close()
	}
	if err != nil {
		return nil, fmt.Errorf("layer of %s: %w", d.Name, err)
	}
	return zip.NewReader(bytes.NewReader(b.Bytes()), int64(b.Len()))
}

// Taken reports whether the folder has a file of that name.
func (d Draft) Taken(folder string) bool {
	_, err := os.Lstat(d.in(folder))
	return err == nil
}

// Keep writes the file, never over another (fs.ErrExist).
func (d Draft) Keep(folder string) error {
	name := d.in(folder)
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		return err
	}
	f, err := os.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if err != nil {
		return err
	}
	_, err = f.WriteString(d.Text)
	if err = errors.Join(err, f.Close()); err != nil {
		return errors.Join(err, os.Remove(name)) // half a file would keep the program from starting
	}
	return nil
}

func (d Draft) in(folder string) string { return filepath.Join(folder, filepath.FromSlash(d.Name)) }
