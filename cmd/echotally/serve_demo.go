package main

import (
	"context"
	"errors"
	"os"
	"path/filepath"

	"echotally/internal/demo/casebook"
	"echotally/internal/demo/labyear"
	"echotally/internal/desk"
	"echotally/internal/store"
	"echotally/internal/store/keyfile"
	"echotally/internal/store/lablist"
	"echotally/internal/web/frame"
)

// inventedLab is the invented lab that the page shows to who asks for it, with a ledger
// and key of its own in a folder that goes when the program ends.
type inventedLab struct {
	work *desk.InForce // the lab's own: rules are the same in both

	dir  string
	stop context.CancelFunc
	done chan struct{}
}

// inventedPerMonth is how many studies of each month it has, and inventedOneIn of how many
// of the others one comes after them: enough for the figures of a period, recorded
// within seconds.
const (
	inventedPerMonth = 10
	inventedOneIn    = 4
	inventedAgain    = 20 // of the others at the end, patients who come again: all of them
)

// make makes the lab. Its studies are written and recorded meanwhile, so that they can
// be watched as they arrive.
func (l *inventedLab) make(ctx context.Context) (*frame.Lab, error) {
	ctx = context.WithoutCancel(ctx) // it outlasts who asked for it
	var err error
	if l.dir, err = os.MkdirTemp("", "echotally-invented-*"); err != nil {
		return nil, err
	}
	key, err := keyfile.Make(filepath.Join(l.dir, "key"))
	if err != nil {
		return nil, err
	}
	ledger, err := store.Open(ctx, filepath.Join(l.dir, "invented.db"), store.Options{Key: key, Now: l.work.Desk().Now})
	if err != nil {
		return nil, err
	}
	ctx, l.stop = context.WithCancel(ctx)
	l.done = make(chan struct{})
	go func() {
		defer close(l.done)
		if err := l.fill(ctx, ledger); err != nil && ctx.Err() == nil {
			l.work.Desk().Log.Error().Msg("the invented lab is not whole: " + err.Error())
		}
	}()
	return &frame.Lab{Ledger: ledger, Key: key, Work: l.work}, nil
}

// fill records a year with the lab's lists, then studies with images.
func (l *inventedLab) fill(ctx context.Context, ledger *store.Store) error {
	of := l.work.Desk()
	own := &desk.Desk{Library: of.Library, SoftwareVersion: of.SoftwareVersion, Now: of.Now, Log: of.Log}
	record := &desk.Recorder{Desk: own, Ledger: ledger, Tell: func(*store.Receipt) error { return nil }, Failed: func(string, string) {}}
	year, last := filepath.Join(l.dir, "year"), filepath.Join(l.dir, "last")
	if _, err := labyear.Write(year, labyear.Options{Seed: 1, PerMonth: inventedPerMonth}); err != nil {
		return err
	}
	for kind, name := range map[lablist.Kind]string{lablist.Roster: "staff.csv", lablist.Labs: "sites.csv", lablist.Signoff: "times.csv"} {
		if err := importFile(ctx, ledger, kind, filepath.Join(year, name)); err != nil {
			return err
		}
	}
	if err := record.Paths(ctx, []string{filepath.Join(year, "studies")}); err != nil {
		return err
	}
	if err := writeSome(last); err != nil {
		return err
	}
	return record.Paths(ctx, []string{last})
}

// writeSome writes some of the studies that hold one fault each, with their images.
func writeSome(dir string) error {
	cases := casebook.Studies(casebook.Options{Seed: 1})
	for i, c := range cases {
		if i%inventedOneIn != 0 && i < len(cases)-inventedAgain {
			continue
		}
		for _, o := range c.Objects {
			content, err := o.Bytes()
			if err != nil {
				return err
			}
			name := filepath.Join(dir, filepath.FromSlash(c.Truth.Folder), o.Name)
			if err := errors.Join(os.MkdirAll(filepath.Dir(name), 0o700), os.WriteFile(name, content, 0o600)); err != nil {
				return err
			}
		}
	}
	return nil
}

func importFile(ctx context.Context, ledger *store.Store, kind lablist.Kind, name string) error {
	f, err := os.Open(name)
	if err != nil {
		return err
	}
	defer f.Close()
	_, err = ledger.Import(ctx, kind, f)
	return err
}

// Close ends the recording and takes the folder out.
func (l *inventedLab) Close() error {
	if l.stop != nil {
		l.stop()
		<-l.done
	}
	if l.dir == "" {
		return nil
	}
	return os.RemoveAll(l.dir)
}
