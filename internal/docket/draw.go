package docket

import (
	"context"
	"crypto/rand"
	"fmt"
	"slices"
	"strings"
	"time"

	"echotally/internal/calendar"
	"echotally/internal/census"
	"echotally/internal/library"
	"echotally/internal/review"
	"echotally/internal/store"
	"echotally/internal/store/decision"
)

// Order is what is to be drawn.
type Order struct {
	Period   calendar.Period
	Quota    int
	By       []review.Factor
	Seed     string // a random one when none is given
	Lab      string // one lab only, "" for all
	Software string
}

func (o Order) plan() review.Plan {
	p := review.Plan{Period: o.Period.Name, From: o.Period.From.Format(time.DateOnly), To: o.Period.To.Format(time.DateOnly), Lab: o.Lab, Quota: o.Quota, By: o.By, Seed: o.Seed, Software: o.Software}
	if p.Seed == "" {
		p.Seed = rand.Text()[:10]
	}
	return p
}

// Refused says why nothing can be drawn, or which reports cannot be taken, in words for who asked.
type Refused struct{ error }

// Unwrap gives the reason.
func (r *Refused) Unwrap() error { return r.error }

// Draw draws cases and keeps the draw in the ledger with its frame, and what was
// reported of the cases. With try nothing is recorded: the same seed then draws the
// same, as long as the studies are. The error is a *Refused where there is nothing to
// draw from, or ErrMeanwhile.
func Draw(ctx context.Context, s *store.Store, lib *library.Library, items *review.Items, o Order, try bool) (*review.Draw, error) {
	frame, err := frameOf(ctx, s, lib, o)
	if err != nil {
		return nil, err
	}
	before, err := decision.AllSaid[review.Draw](ctx, s, DrawKind)
	if err != nil {
		return nil, err
	}
	d, err := review.NewDraw(len(before)+1, o.plan(), frame, decision.Counting(before))
	if err != nil {
		return nil, &Refused{err}
	}
	if try {
		return d, nil
	}
	if err := reported(ctx, s, lib, items, d, o.Period); err != nil {
		return nil, err
	}
	_, err = s.Decide(ctx, DrawKind, func(known []decision.Decision) (any, error) {
		if len(known) != len(before) {
			return nil, ErrMeanwhile
		}
		return d, nil
	})
	return d, err
}

// frameOf are the studies of the period, with what they are stratified by.
func frameOf(ctx context.Context, s *store.Store, lib *library.Library, o Order) ([]review.Candidate, error) {
	studies, _, err := census.Studies(ctx, s, o.Period, store.Filter{Lab: o.Lab}, lib, nil)
	if err != nil {
		return nil, err
	}
	titles := map[string]string{}
	for _, p := range lib.Protocols {
		titles[p.Identifier] = p.Title
	}
	var out []review.Candidate
	for _, one := range studies {
		if o.Lab != "" && one.Lab != o.Lab {
			continue
		}
		c := review.Candidate{Study: one.UID, Date: one.Date.Format(time.DateOnly), Levels: map[review.Factor]string{
			review.Sonographer: one.Sonographer, review.Reader: one.Reader, review.Scanner: strings.TrimSpace(one.Device.Station + " " + one.Device.Model),
		}}
		switch len(one.Triggered) {
		case 0:
			c.Levels[review.Finding] = "none"
		case 1:
			c.Levels[review.Finding] = titles[one.Triggered[0]]
		default:
			c.Levels[review.Finding] = "several"
		}
		if one.Unread {
			c.Excluded = "no report that can be read"
		}
		out = append(out, c)
	}
	return out, nil
}

// reported puts down what was reported of the cases, and by whom.
func reported(ctx context.Context, s *store.Store, lib *library.Library, items *review.Items, d *review.Draw, period calendar.Period) error {
	by := map[string]*review.Case{}
	for i := range d.Cases {
		by[d.Cases[i].Study] = &d.Cases[i]
	}
	for one, err := range s.Studies(ctx, store.Period{From: period.From, To: period.To}, store.Filter{}, lib.Digest) {
		if err != nil {
			return err
		}
		c := by[one.UID]
		if c == nil {
			continue
		}
		study, err := one.Rebuild()
		if err != nil {
			return fmt.Errorf("case %d: %w", c.Number, err)
		}
		c.Reported = review.ReportedOf(lib, items, study)
		for _, who := range []string{one.Sonographer, one.Reader} {
			if who != "" && !slices.Contains(c.Readers, who) {
				c.Readers = append(c.Readers, who)
			}
		}
	}
	return nil
}
