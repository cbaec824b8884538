// Package fetch owns a back-fill: the objects of the studies of some days, from an
// archive into the spool, each once, however often a run is stopped and begun again.
package fetch

import (
	"context"
	"errors"
	"strings"
	"time"

	"echotally/internal/dicomweb/archive"
	"echotally/internal/dicomweb/request"
	"echotally/internal/disk"
	"echotally/internal/spool"
)

// Fetch is a back-fill: the objects of the studies of some days, from an archive to a
// spool. No storage commitment is asked for or given.
type Fetch struct {
	Archive   *archive.Archive
	Spool     *spool.Spool
	Modality  string // a study has to hold a series of it
	Images    bool   // its ultrasound images too, else reports only
	Whole     bool   // of images not only the header
	MostBytes int64  // of an object
	Most      int    // objects of one run
	Done      *Done
	Study     func(ctx context.Context) error // is called when the objects of a study have come; nil for nothing
	Failed    func(err error)                 // is told of every object, study and day that did not come
}

// Fetched is what came of it.
type Fetched struct {
	Studies, Objects, Known int
	Apart                   int  // objects that lie in the quarantine
	Failed                  int  // objects, studies and days that did not come
	Stopped                 bool // at the most objects of one run
}

// Run fetches the days from one to another, both included. An error is one after which
// nothing else would come.
func (f *Fetch) Run(ctx context.Context, from, to time.Time) (Fetched, error) {
	var out Fetched
	for day := from; !day.After(to) && !out.Stopped; day = day.AddDate(0, 0, 1) {
		for study, err := range f.Archive.Studies(ctx, day, f.Modality) {
			if err == nil {
				err = f.study(ctx, study, &out)
			}
			if fatal(ctx, err) {
				return out, err
			}
			if err != nil {
				out.Failed++
				f.Failed(err)
			}
			if out.Stopped {
				break
			}
		}
	}
	return out, nil
}

// fatal reports an error that all that follows would have too.
func fatal(ctx context.Context, err error) bool {
	var status request.StatusError
	return err != nil && (ctx.Err() != nil || errors.As(err, &status) && (status.Status == 401 || status.Status == 403) || errors.As(err, new(recording)))
}

// recording marks an error of what is done when a study has come.
type recording struct{ error }

func (r recording) Unwrap() error { return r.error }

func (f *Fetch) study(ctx context.Context, study string, out *Fetched) error {
	modalities := []string{"SR"}
	if f.Images {
		modalities = append(modalities, "US")
	}
	out.Studies++
	came := false
	for one, err := range f.Archive.Instances(ctx, study, modalities...) {
		switch {
		case err != nil:
			return err
		case f.Done.Has(one.Instance):
			out.Known++
			continue
		case out.Objects+out.Apart >= f.Most:
			out.Stopped = true
		}
		if out.Stopped {
			break
		}
		status, err := f.Archive.Retrieve(ctx, one, f.Spool, f.MostBytes, one.Modality == "US" && !f.Whole)
		if fatal(ctx, err) {
			return err
		}
		switch {
		case err != nil:
			out.Failed++
			f.Failed(err)
			continue
		case status == spool.Success:
			out.Objects++
			came = true
		default:
			out.Apart++
		}
		if err := f.Done.Add(one.Instance); err != nil {
			return recording{err}
		}
	}
	if came && f.Study != nil {
		if err := f.Study(ctx); err != nil {
			return recording{err}
		}
	}
	return nil
}

// Done is a file of the objects that were fetched, one in each line.
type Done struct {
	lines *disk.Lines
	has   map[string]bool
}

// fetched ends a line, so that nothing else is taken for one.
const fetched = " fetched"

// OpenDone opens such a file, which need not be there.
func OpenDone(name string) (*Done, error) {
	d := &Done{has: map[string]bool{}}
	lines, err := disk.OpenLines(name, func(line string) {
		if uid, is := strings.CutSuffix(line, fetched); is {
			d.has[uid] = true
		}
	})
	d.lines = lines
	return d, err
}

// Has reports whether an object was fetched.
func (d *Done) Has(uid string) bool { return d.has[uid] }

// Add notes one, on the disk.
func (d *Done) Add(uid string) error {
	d.has[uid] = true
	return d.lines.Add(uid + fetched)
}

// Close closes the file.
func (d *Done) Close() error { return d.lines.Close() }
