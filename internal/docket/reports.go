package docket

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"echotally/internal/desk"
	"echotally/internal/review"
	"echotally/internal/run"
	"echotally/internal/store"
)

// ErrReported is why a report is refused that the ledger holds.
var ErrReported = errors.New("among these is a report that the ledger holds: it is what was reported, and no second reading")

// ReadReports reads second readers' own reports of the cases of a draw below the paths:
// the rows to be entered. Nothing of them is recorded. The error is a *Refused where none
// is of a case, and where the ledger holds one of a case (ErrReported).
func ReadReports(ctx context.Context, s *store.Store, work *desk.Desk, items *review.Items, d *review.Draw, paths []string) ([]review.Row, error) {
	r := &reports{work: work, items: items, draw: d, known: map[string]bool{}}
	for _, c := range d.Cases {
		objects, err := s.ObjectsOf(ctx, c.Study)
		if err != nil {
			return nil, err
		}
		for _, o := range objects {
			r.known[o.SOPInstanceUID] = true
		}
	}
	tally, err := desk.Read(ctx, work, paths, r)
	if err != nil {
		return nil, err
	}
	switch {
	case len(r.rows) == 0:
		return nil, &Refused{fmt.Errorf("none of the %d studies read is a case of draw %d", tally.Studies, d.Number)}
	case r.reported:
		return nil, &Refused{ErrReported}
	}
	return r.rows, nil
}

// reports gathers what the reports of cases say.
type reports struct {
	work     *desk.Desk
	items    *review.Items
	draw     *review.Draw
	known    map[string]bool // SOP Instance UIDs of the cases' objects in the ledger
	rows     []review.Row
	reported bool // the ledger holds one of them
}

// secondRead is what the reports of one study say.
type secondRead struct {
	rows     []review.Row
	reported bool // the ledger holds one of its objects
}

// Begin has nothing to write.
func (r *reports) Begin(*run.Run) error { return nil }

// End has nothing to write.
func (r *reports) End() error { return nil }

// Leaf gives what the reports of a case say.
func (r *reports) Leaf(s *run.Study) (secondRead, error) {
	i := slices.IndexFunc(r.draw.Cases, func(c review.Case) bool { return c.Study == s.StudyInstanceUID })
	if i < 0 || s.Study == nil {
		return secondRead{}, nil
	}
	return secondRead{
		r.draw.EnteredFrom(r.items, &r.draw.Cases[i], review.ReportedOf(r.work.Library, r.items, s.Study)),
		slices.ContainsFunc(s.Objects, func(o run.Object) bool { return r.known[o.SOPInstanceUID] }),
	}, nil
}

// Add gathers it.
func (r *reports) Add(one secondRead) error {
	r.rows = append(r.rows, one.rows...)
	r.reported = r.reported || one.reported
	return nil
}
