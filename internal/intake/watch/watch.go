// Package watch owns a folder that files come into: it hands them over as they come to
// rest.
package watch

import (
	"context"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/fsnotify/fsnotify"

	"echotally/internal/intake"
)

// Folder hands over the files of a folder as they come to rest.
type Folder struct {
	Dir    string
	Settle time.Duration // a file whose size and time did not change for so long is whole
	Rescan time.Duration // the folder is looked through at least so often
}

// fileState is what tells that a file is still being written.
type fileState struct {
	size     int64
	modified time.Time
}

type watched struct {
	fileState
	since  time.Time // when it was first seen so
	handed bool
}

// watching is a watch under way.
type watching struct {
	Folder
	files map[string]*watched
	add   func(folder string) error // asks the system for notifications
}

// Run looks through the folder, hands over what is at rest, and does so again
// whenever something changed or the time for a rescan has come, until the
// context ends. A file that changes after it was handed over is handed over
// again. Notifications only make it look sooner: where the system gives none,
// as on network shares, the rescans do the work. The end of the context is no
// error.
func (w Folder) Run(ctx context.Context, hand func(files []string) error) error {
	notify, err := fsnotify.NewWatcher()
	if err != nil {
		return fmt.Errorf("watch folder: %w", err)
	}
	defer notify.Close()
	x := &watching{w, map[string]*watched{}, notify.Add}
	for {
		ready, waiting, err := x.look()
		if err != nil {
			return err
		}
		if len(ready) > 0 {
			if err := hand(ready); err != nil {
				return err
			}
		}
		if !w.wait(ctx, notify, waiting) {
			return nil
		}
	}
}

// look goes through the folder once and tells which files are at rest, and
// whether some are not yet.
func (w *watching) look() (ready []string, waiting bool, err error) {
	now, present, root := time.Now(), map[string]bool{}, intake.Root(w.Dir)
	err = filepath.WalkDir(root, func(path string, entry fs.DirEntry, err error) error {
		if err != nil {
			if path == root {
				return &intake.PathError{Path: w.Dir, Reason: intake.ReasonOf(err), Hint: "give a folder that is there"}
			}
			return nil // gone again, or not to be opened: the next look tells
		}
		hidden := path != root && strings.HasPrefix(entry.Name(), ".")
		switch {
		case hidden && entry.IsDir():
			return fs.SkipDir
		case entry.IsDir():
			_ = w.add(path) // without notifications the rescans do the work
			return nil
		case hidden || !entry.Type().IsRegular():
			return nil
		}
		info, err := entry.Info()
		if err != nil {
			return nil
		}
		present[path] = true
		switch seen := w.see(path, fileState{info.Size(), info.ModTime()}, now); {
		case seen.handed:
		case now.Sub(seen.since) >= w.Settle:
			seen.handed = true
			ready = append(ready, path)
		default:
			waiting = true
		}
		return nil
	})
	for path := range w.files {
		if !present[path] {
			delete(w.files, path)
		}
	}
	slices.Sort(ready)
	return ready, waiting, err
}

// see takes note of how a file stands.
func (w *watching) see(path string, state fileState, now time.Time) *watched {
	seen := w.files[path]
	if seen == nil || seen.fileState != state {
		seen = &watched{fileState: state, since: now}
		w.files[path] = seen
	}
	return seen
}

// wait sleeps until it is time to look again; false when the context ended.
func (w Folder) wait(ctx context.Context, notify *fsnotify.Watcher, waiting bool) bool {
	pause := w.Rescan
	if waiting {
		pause = w.Settle
	}
	timer := time.NewTimer(pause)
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return false
		case <-timer.C:
			return true
		case event := <-notify.Events:
			// A file in the making sends many; one look after it has settled serves.
			if event.Op != fsnotify.Chmod && pause > w.Settle {
				pause = w.Settle
				timer.Reset(pause)
			}
		case <-notify.Errors: // notifications were lost: look
			if pause > w.Settle {
				pause = w.Settle
				timer.Reset(pause)
			}
		}
	}
}
