// Package quarantine owns the folder of objects that could not be read: each with the
// reason beside it, and its check sum as it came, so that it can be told later whether it
// is still the same.
package quarantine

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// Held is an object of the quarantine.
type Held struct {
	Name   string // of its file
	Came   time.Time
	Bytes  int64
	Reason string // "" when none was written down
}

// Folder is the quarantine, by the path of its folder.
type Folder string

// Held lists it, what came last first; one that is not there holds nothing.
func (f Folder) Held() ([]Held, error) {
	entries, err := os.ReadDir(string(f))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	var out []Held
	for _, e := range entries {
		info, err := e.Info()
		if err != nil || !info.Mode().IsRegular() || filepath.Ext(e.Name()) != ".dcm" {
			continue
		}
		h := Held{Name: e.Name(), Came: info.ModTime(), Bytes: info.Size()}
		if text, err := os.ReadFile(f.reasonFile(e.Name())); err == nil {
			h.Reason = strings.TrimSpace(string(text))
		}
		out = append(out, h)
	}
	slices.SortFunc(out, func(a, b Held) int { return b.Came.Compare(a.Came) })
	return out, err
}

// Endings of the files beside an object: why it is there, and its check sum when it came,
// as sha256sum writes and checks it.
const (
	reasonEnds = ".reason"
	sumEnds    = ".sha256"
)

func (f Folder) reasonFile(name string) string { return f.beside(name, reasonEnds) }

func (f Folder) beside(name, ends string) string {
	return filepath.Join(string(f), strings.TrimSuffix(name, ".dcm")+ends)
}

// Expect puts reason and check sum beside where a file will lie under a name, which is
// without its ending. That they cannot be written changes nothing for the sender.
func (f Folder) Expect(name, file string, reason error) {
	_ = f.Keep(name, reason)
	if sum, err := sumOf(file, name+".dcm"); err == nil {
		_ = os.WriteFile(f.beside(name, sumEnds), []byte(sum), 0o600)
	}
}

// sumOf is the line that sha256sum writes of a file, below a name.
func sumOf(file, name string) (string, error) {
	in, err := os.Open(file)
	if err != nil {
		return "", err
	}
	defer in.Close()
	h := sha256.New()
	if _, err := io.Copy(h, in); err != nil {
		return "", err
	}
	return fmt.Sprintf("%x  %s\n", h.Sum(nil), name), nil
}

// Same says why an object of the quarantine is not what came, nil if it is.
func (f Folder) Same(name string) error {
	came, err := os.ReadFile(f.beside(name, sumEnds))
	if err != nil {
		return errors.New("its check sum on arrival is missing: it cannot be told whether the file is still the same")
	}
	is, err := sumOf(filepath.Join(string(f), name), name)
	if err != nil {
		return errors.New("the file cannot be read from the disk")
	}
	if is != string(came) {
		return errors.New("the file has changed since it arrived: its check sum is different")
	}
	return nil
}

// Keep writes down why an object is there.
func (f Folder) Keep(name string, reason error) error {
	return os.WriteFile(f.reasonFile(name), []byte(reason.Error()+"\n"), 0o600)
}

// Release takes out what lies beside an object that is not there any more.
func (f Folder) Release(name string) {
	for _, ends := range []string{reasonEnds, sumEnds} {
		_ = os.Remove(f.beside(name, ends))
	}
}
