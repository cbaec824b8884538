package docket

import (
	"context"
	"fmt"
	"slices"

	"echotally/internal/desk"
	"echotally/internal/review"
	"echotally/internal/run"
	"echotally/internal/store"
)

// Reports are what second readers' own reports of cases say.
type Reports struct {
	Rows   []review.Row // to be entered
	Copies int          // studies of which the ledger holds an object that was given: no second report
}

// ReadReports reads second readers' own reports of the cases of a draw below the paths.
// Nothing of them is recorded. The error is a *Refused where none is of a case.
func ReadReports(ctx context.Context, s *store.Store, work *desk.Desk, items *review.Items, d *review.Draw, paths []string) (*Reports, error) {
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
	if len(r.out.Rows) == 0 {
		return nil, &Refused{fmt.Errorf("none of the %d studies read is a case of draw %d", tally.Studies, d.Number)}
	}
	return &r.out, nil
}

// reports gathers what the reports of cases say.
type reports struct {
	work  *desk.Desk
	items *review.Items
	draw  *review.Draw
	known map[string]bool // SOP Instance UIDs of the cases' objects in the ledger
	out   Reports
}

// secondRead is what the reports of one study say.
type secondRead struct {
	rows []review.Row
	copy bool
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
	r.out.Rows = append(r.out.Rows, one.rows...)
	if one.copy {
		r.out.Copies++
	}
	return nil
}
