// Package backlog owns how much waits to be recorded.
package backlog

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// Load is what waits to be recorded.
type Load struct {
	Studies, Objects int
	Oldest           time.Time // when the oldest of them came
}

// Of counts what waits below a folder that has one folder for each study.
func Of(waiting string) (Load, error) {
	var l Load
	studies, err := os.ReadDir(waiting)
	if errors.Is(err, fs.ErrNotExist) {
		return l, nil
	}
	for _, study := range studies {
		objects, err := os.ReadDir(filepath.Join(waiting, study.Name()))
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
