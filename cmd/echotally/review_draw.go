package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"echotally/internal/audit"
	"echotally/internal/library"
	"echotally/internal/review"
	"echotally/internal/store"
)

// drawFlags are the flags of review draw.
type drawFlags struct {
	periodFlags
	quota int
	by    []string
	seed  string
	dry   bool
}

func newReviewDrawCommand(a *app) *cobra.Command {
	f := &drawFlags{}
	var factors []string
	for _, one := range review.Factors() {
		factors = append(factors, string(one))
	}
	cmd := &cobra.Command{
		Use:   "draw --quarter 2026-Q3 --quota 8",
		Short: "Draw cases at random",
		Long: `Draw cases at random from the studies of a period and keep the draw in the ledger:
its seed, all studies it could have drawn, those left out and why, and what was
reported of the cases at that time, which nobody sees before reading them again.

With --by (` + strings.Join(factors, ", ") + `, or several of them) every
person, scanner or finding gets a case where the quota lasts; each further one goes
where a case would then stand for most studies. What the quota does not reach is
said. The order of drawing is
the SHA-256 of the seed, a line feed and the Study Instance UID, so that the same
seed and studies give the same cases with any tool. Cases drawn before are not
drawn again. Drawn at random, never by suspicion: look at those apart. With --dry-run
nothing is recorded; the same seed then draws the same. review undraw takes a draw
back.`,
		Example: "  echotally review draw --quarter 2026-Q3 --quota 8 --by sonographer,finding --seed 2026-Q3",
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return f.run(cmd.Context(), a) },
	}
	f.add(cmd)
	flags := cmd.Flags()
	flags.IntVar(&f.quota, "quota", 0, "how many cases")
	flags.StringSliceVar(&f.by, "by", nil, "what every level of is to be among the cases: "+strings.Join(factors, ", "))
	flags.StringVar(&f.seed, "seed", "", "what the draw follows from; a random one when none is given")
	flags.BoolVar(&f.dry, "dry-run", false, "say what would be drawn, and record nothing")
	complete(cmd, "by", factors...)
	return cmd
}

func (f *drawFlags) plan(period audit.Period) (review.Plan, error) {
	p := review.Plan{Period: period.Name, From: period.From.Format(time.DateOnly), To: period.To.Format(time.DateOnly), Quota: f.quota, Seed: f.seed, Software: "echotally " + version}
	if f.quota < 1 {
		return p, faults{hinted{errors.New("how many cases?"), "give --quota; echotally review size says what a number shows"}}
	}
	for _, name := range f.by {
		one := review.Factor(name)
		if !slices.Contains(review.Factors(), one) || slices.Contains(p.By, one) {
			return p, faults{hinted{fmt.Errorf("--by %s: not a factor, or named twice", name), "sonographer, reader, scanner or finding"}}
		}
		p.By = append(p.By, one)
	}
	if p.Seed == "" {
		p.Seed = rand.Text()[:10]
	}
	return p, oneLine("--seed", p.Seed)
}

func (f *drawFlags) run(ctx context.Context, a *app) error {
	period, err := f.period()
	if err != nil {
		return err
	}
	plan, err := f.plan(period)
	if err != nil {
		return err
	}
	lib, items, err := a.items()
	if err != nil {
		return err
	}
	open := func() (*store.Store, error) { return f.open(ctx, a, true) }
	if f.dry {
		open = func() (*store.Store, error) { return f.viewKeyed(ctx) }
	}
	s, err := open()
	if err != nil {
		return err
	}
	defer s.Close()
	frame, err := f.frame(ctx, s, lib, period)
	if err != nil {
		return err
	}
	before, err := decided[review.Draw](ctx, s, drawKind)
	if err != nil {
		return err
	}
	d, err := review.NewDraw(len(before)+1, plan, frame, counting(before))
	if err != nil {
		return faults{hinted{err, "another period, or echotally ledger stats for what the ledger holds"}}
	}
	if f.dry {
		return a.tellDraw(d, "nothing was recorded; without --dry-run, --seed "+d.Seed+" draws these cases as long as the studies are the same")
	}
	if err := reported(ctx, s, lib, items, d, period); err != nil {
		return err
	}
	_, err = s.Decide(ctx, drawKind, func(known []store.Decision) (any, error) {
		if len(known) != len(before) {
			return nil, errDrawnMeanwhile
		}
		return d, nil
	})
	if err != nil {
		return err
	}
	return a.tellDraw(d, fmt.Sprintf("next: echotally review sheet %d --out DIR", d.Number))
}

// frame are the studies of the period, with what they are stratified by.
func (f *drawFlags) frame(ctx context.Context, s *store.Store, lib *library.Library, period audit.Period) ([]review.Candidate, error) {
	studies, err := f.studies(ctx, s, period, lib, nil)
	if err != nil {
		return nil, err
	}
	titles := map[string]string{}
	for _, p := range lib.Protocols {
		titles[p.Identifier] = p.Title
	}
	var out []review.Candidate
	for _, one := range studies.before {
		if f.lab != "" && one.Lab != f.lab {
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
func reported(ctx context.Context, s *store.Store, lib *library.Library, items *review.Items, d *review.Draw, period audit.Period) error {
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
			return fmt.Errorf("study %s: %w", one.UID, err)
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

func (a *app) tellDraw(d *review.Draw, next string) error {
	lines := []string{fmt.Sprintf("draw %d: %d cases of %d studies of %s, seed %s", d.Number, len(d.Cases), d.Eligible(), d.Period, d.Seed)}
	for _, e := range d.Exclusions() {
		lines = append(lines, fmt.Sprintf("left out: %d, %s", e.Count, e.Reason))
	}
	if short := d.Shortage(); short != "" {
		lines = append(lines, "short of the quota: "+short)
	}
	return a.lines(append(lines, fmt.Sprintf("frame: SHA-256 %s", d.Digest), next)...)
}
