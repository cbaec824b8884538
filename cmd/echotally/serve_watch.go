package main

import (
	"context"
	"os"
	"time"
)

// watchSection is what the configuration says of a folder that is watched.
type watchSection struct {
	Folder        string  `yaml:"folder"`
	SettleSeconds float64 `yaml:"settleSeconds"`
	RescanSeconds float64 `yaml:"rescanSeconds"`
}

func (*watchSection) example() string {
	return `watch:                      # files that come to a folder are recorded, and stay where they are
  folder: ""                # empty for none
  settleSeconds: 2          # how long a file must not change before it is taken
  rescanSeconds: 60         # how often the folder is looked through in any case
`
}

func (w *watchSection) check() error {
	switch {
	case w.Folder == "":
		return nil
	case w.SettleSeconds < 0 || w.SettleSeconds > 3600:
		return misconfigured("watch.settleSeconds is not between 0 and 3,600", "")
	case w.RescanSeconds < 1 || w.RescanSeconds > 86_400:
		return misconfigured("watch.rescanSeconds is not between 1 and 86,400", "")
	}
	if info, err := os.Stat(w.Folder); err != nil || !info.IsDir() {
		return misconfigured("watch.folder does not exist or is not a folder", "name a folder that exists")
	}
	return nil
}

func (w *watchSection) says() string {
	if w.Folder == "" {
		return ""
	}
	return "folder " + w.Folder + " watched"
}

func (w *watchSection) begin(ctx context.Context, s *serving) error {
	if w.Folder == "" {
		return nil
	}
	s.group.Go(func() error {
		return s.record.Watch(ctx, w.Folder, max(seconds(w.SettleSeconds), 10*time.Millisecond), seconds(w.RescanSeconds))
	})
	return nil
}
