package desk

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"
)

// Inbox is a folder to which receivers bring objects, a folder below it for each
// study, and where they go when they are recorded.
type Inbox struct {
	Waiting, Recorded string
	Quiet             time.Duration // how long nothing of a study must have come before it is recorded
	Pace              time.Duration // how often the folder is looked through
}

// Inbox records the studies of an inbox as they come to rest, until the context
// ends. What is recorded is moved, so that it is not taken twice; what a crash left
// is taken at the next start.
func (r *Recorder) Inbox(ctx context.Context, in Inbox) error {
	for {
		if err := r.rested(ctx, in); err != nil {
			return err
		}
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(in.Pace):
		}
	}
}

// rested records the studies of which nothing has come for a while.
func (r *Recorder) rested(ctx context.Context, in Inbox) error {
	studies, err := os.ReadDir(in.Waiting)
	if err != nil {
		return err
	}
	for _, s := range studies {
		files, latest, err := filesOf(filepath.Join(in.Waiting, s.Name()))
		switch {
		case err != nil:
			return err
		case len(files) == 0 || r.Now().Sub(latest) < in.Quiet:
			continue
		case ctx.Err() != nil:
			return nil
		}
		if err := r.Paths(ctx, files); err != nil {
			return err
		}
		if err := in.move(s.Name(), files, r.Now()); err != nil {
			return err
		}
	}
	return nil
}

func filesOf(dir string) (files []string, latest time.Time, err error) {
	entries, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, latest, nil
	}
	for _, e := range entries {
		info, err := e.Info()
		if errors.Is(err, fs.ErrNotExist) || err == nil && !info.Mode().IsRegular() {
			continue
		}
		if err != nil {
			return nil, latest, err
		}
		files = append(files, filepath.Join(dir, e.Name()))
		if info.ModTime().After(latest) {
			latest = info.ModTime()
		}
	}
	slices.Sort(files)
	return files, latest, err
}

// move puts what was recorded into the folder of the day.
func (in Inbox) move(study string, files []string, at time.Time) error {
	to := filepath.Join(in.Recorded, at.UTC().Format(time.DateOnly))
	err := os.MkdirAll(to, 0o700)
	for _, f := range files {
		err = errors.Join(err, os.Rename(f, filepath.Join(to, filepath.Base(f))))
	}
	// Fails where something came meanwhile, which is taken next.
	_ = os.Remove(filepath.Join(in.Waiting, study))
	return err
}
