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
	Pace              time.Duration // how often the folder is looked through, at least
}

// hurry is how often an inbox is looked through whose studies are recorded at once, or
// nearly so (site choice).
const hurry = 50 * time.Millisecond

// Inbox records the studies of an inbox as they come to rest, until the context
// ends. What is recorded is moved, so that it is not taken twice; what a crash left
// is taken at the next start.
func (r *Recorder) Inbox(ctx context.Context, in Inbox) error {
	for {
		next, err := r.rested(ctx, in)
		if err != nil {
			return err
		}
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(next):
		}
	}
}

// Rested records the studies of which nothing has come for a while, several together
// where there are.
func (r *Recorder) Rested(ctx context.Context, in Inbox) error {
	_, err := r.rested(ctx, in)
	return err
}

// rested is Rested that gives when to look again: when the next study comes to rest, of
// those that are there and of those that come meanwhile.
func (r *Recorder) rested(ctx context.Context, in Inbox) (next time.Duration, err error) {
	next = min(in.Pace, max(in.Quiet, hurry))
	studies, err := os.ReadDir(in.Waiting)
	if err != nil {
		return 0, err
	}
	for rest := studies; len(rest) > 0 && ctx.Err() == nil; {
		taken := map[string][]string{}
		var files []string
		for len(rest) > 0 && len(taken) < together {
			name := rest[0].Name()
			of, after, err := r.atRest(in, rest[0])
			if err != nil {
				return 0, err
			}
			if after > 0 {
				next = min(next, after)
			}
			if rest = rest[1:]; len(of) > 0 {
				taken[name], files = of, append(files, of...)
			}
		}
		if len(files) == 0 {
			continue
		}
		next = 0 // others came to rest meanwhile
		if err := r.Paths(ctx, files); err != nil {
			return 0, err
		}
		for name, of := range taken {
			if err := in.move(name, of, r.Now()); err != nil {
				return 0, err
			}
		}
	}
	return next, nil
}

// atRest are the files of a study, none while something may still come: then after is
// how long that is at least. When a file came, its folder changed: only one that did not
// is looked into.
func (r *Recorder) atRest(in Inbox, study os.DirEntry) (files []string, after time.Duration, err error) {
	folder, err := study.Info()
	if errors.Is(err, fs.ErrNotExist) || err == nil && !folder.IsDir() {
		return nil, 0, nil
	}
	if err != nil {
		return nil, 0, err
	}
	if after = in.Quiet - r.Now().Sub(folder.ModTime()); after > 0 {
		return nil, after, nil
	}
	files, latest, err := filesOf(filepath.Join(in.Waiting, study.Name()))
	if after = in.Quiet - r.Now().Sub(latest); after > 0 {
		return nil, after, err
	}
	return files, 0, err
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
