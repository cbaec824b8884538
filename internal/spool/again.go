package spool

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"echotally/internal/disk"
	"echotally/internal/identifier"
	"echotally/internal/spool/backlog"
	"echotally/internal/spool/quarantine"
)

// Held lists the quarantine, what came last first.
func (s *Spool) Held() ([]quarantine.Held, error) { return quarantine.Folder(s.Quarantine()).Held() }

// Load counts what waits.
func (s *Spool) Load() (backlog.Load, error) { return backlog.Of(s.Waiting()) }

// Again looks once more at an object of the quarantine, and has it wait to be recorded
// when it is still what came and can be read now: another version of the program may.
// Otherwise the reason beside it is that of now. One that is not there is an
// fs.ErrNotExist.
func (s *Spool) Again(name string) (taken bool, err error) {
	apart := quarantine.Folder(s.Quarantine())
	held, err := apart.Held()
	if err != nil {
		return false, err
	}
	if !slices.ContainsFunc(held, func(h quarantine.Held) bool { return h.Name == name }) {
		return false, fs.ErrNotExist
	}
	file := filepath.Join(s.Quarantine(), name)
	var is Identity
	reason := apart.Same(name)
	if reason == nil {
		is, _, reason = s.Check(file)
	}
	if reason != nil {
		return false, apart.Keep(name, reason)
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
	apart.Release(name)
	return true, nil
}
