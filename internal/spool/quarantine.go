package spool

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

	"echotally/internal/disk"
	"echotally/internal/identifier"
)

// Held is an object of the quarantine.
type Held struct {
	Name   string // of its file
	Came   time.Time
	Bytes  int64
	Reason string // "" when none was written down
}

// Held lists the quarantine, what came last first.
func (s *Spool) Held() ([]Held, error) {
	entries, err := os.ReadDir(s.Quarantine())
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
		if text, err := os.ReadFile(s.reasonFile(e.Name())); err == nil {
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

func (s *Spool) reasonFile(name string) string { return s.fileBeside(name, reasonEnds) }

func (s *Spool) fileBeside(name, ends string) string {
	return filepath.Join(s.Quarantine(), strings.TrimSuffix(name, ".dcm")+ends)
}

// beside puts reason and check sum beside an object that goes to the quarantine. That they
// cannot be written changes nothing for the sender.
func (s *Spool) beside(name, file string, reason error) {
	_ = os.WriteFile(s.reasonFile(name), []byte(reason.Error()+"\n"), 0o600)
	if sum, err := sumOf(file, name+".dcm"); err == nil {
		_ = os.WriteFile(s.fileBeside(name, sumEnds), []byte(sum), 0o600)
	}
}

// sumOf is the line that sha256sum writes of a file, below a name.
func sumOf(file, name string) (string, error) {
	f, err := os.Open(file)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return fmt.Sprintf("%x  %s\n", h.Sum(nil), name), nil
}

// same says why an object of the quarantine is not what came, nil if it is.
func (s *Spool) same(name string) error {
	came, err := os.ReadFile(s.fileBeside(name, sumEnds))
	if err != nil {
		return errors.New("its check sum on arrival is missing: it cannot be told whether the file is still the same")
	}
	is, err := sumOf(filepath.Join(s.Quarantine(), name), name)
	if err != nil {
		return errors.New("the file cannot be read from the disk")
	}
	if is != string(came) {
		return errors.New("the file has changed since it arrived: its check sum is different")
	}
	return nil
}

// Again looks once more at an object of the quarantine, and has it wait to be recorded
// when it is still what came and can be read now: another version of the program may.
// Otherwise the reason beside it is that of now. One that is not there is an
// fs.ErrNotExist.
func (s *Spool) Again(name string) (taken bool, err error) {
	held, err := s.Held()
	if err != nil {
		return false, err
	}
	if !slices.ContainsFunc(held, func(h Held) bool { return h.Name == name }) {
		return false, fs.ErrNotExist
	}
	file := filepath.Join(s.Quarantine(), name)
	var is Identity
	reason := s.same(name)
	if reason == nil {
		is, _, reason = s.Check(file)
	}
	if reason != nil {
		return false, os.WriteFile(s.reasonFile(name), []byte(reason.Error()+"\n"), 0o600)
	}
	study := "unknown"
	if identifier.IsUID(is.Study) {
		study = is.Study
	}
	folder := filepath.Join(s.Waiting(), study)
	now := time.Now() // it has come to rest when nothing has come since
	if err := errors.Join(s.folder(folder), os.Chtimes(file, now, now), os.Rename(file, filepath.Join(folder, name)), disk.SyncFolder(folder)); err != nil {
		return false, err
	}
	for _, ends := range []string{reasonEnds, sumEnds} {
		_ = os.Remove(s.fileBeside(name, ends)) // of what is not there any more
	}
	return true, nil
}

// Load is what waits to be recorded.
type Load struct {
	Studies, Objects int
	Oldest           time.Time // when the oldest of them came
}

// Load counts what waits.
func (s *Spool) Load() (Load, error) {
	var l Load
	studies, err := os.ReadDir(s.Waiting())
	if errors.Is(err, fs.ErrNotExist) {
		return l, nil
	}
	for _, study := range studies {
		objects, err := os.ReadDir(filepath.Join(s.Waiting(), study.Name()))
		if err != nil {
			continue // recorded meanwhile
		}
		if len(objects) > 0 {
			l.Studies++
		}
		for _, o := range objects {
			if info, err := o.Info(); err == nil {
				l.Objects++
				if l.Oldest.IsZero() || info.ModTime().Before(l.Oldest) {
					l.Oldest = info.ModTime()
				}
			}
		}
	}
	return l, err
}
