package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"echotally/internal/calendar"
	"echotally/internal/docket"
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

func (f *drawFlags) order(period calendar.Period) (docket.Order, error) {
	o := docket.Order{Period: period, Quota: f.quota, Seed: f.seed, Lab: f.lab, Software: "echotally " + version}
	if f.quota < 1 {
		return o, faults{hinted{errors.New("how many cases?"), "give --quota; echotally review size says what a number shows"}}
	}
	by, wrong := review.FactorsOf(f.by)
	if wrong != "" {
		return o, faults{hinted{fmt.Errorf("--by %s: not a factor, or named twice", wrong), "sonographer, reader, scanner or finding"}}
	}
	o.By = by
	return o, oneLine("--seed", o.Seed)
}

func (f *drawFlags) run(ctx context.Context, a *app) error {
	period, err := f.period()
	if err != nil {
		return err
	}
	order, err := f.order(period)
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
	d, err := docket.Draw(ctx, s, lib, items, order, f.dry)
	if _, refused := errors.AsType[*docket.Refused](err); refused {
		return faults{hinted{err, "another period, or echotally ledger stats for what the ledger holds"}}
	}
	if errors.Is(err, docket.ErrMeanwhile) {
		return hinted{err, "do this again"}
	}
	if err != nil {
		return err
	}
	if f.dry {
		return a.tellDraw(d, "nothing was recorded; without --dry-run, --seed "+d.Seed+" draws these cases as long as the studies are the same")
	}
	return a.tellDraw(d, fmt.Sprintf("next: echotally review sheet %d --out DIR", d.Number))
}

func (a *app) tellDraw(d *review.Draw, next string) error {
	of := d.Period
	if d.Lab != "" {
		of += " in " + d.Lab
	}
	lines := []string{fmt.Sprintf("draw %d: %d cases of %d studies of %s, seed %s", d.Number, len(d.Cases), d.Eligible(), of, d.Seed)}
	for _, e := range d.Exclusions() {
		lines = append(lines, fmt.Sprintf("left out: %d, %s", e.Count, e.Reason))
	}
	if short := d.Shortage(); short != "" {
		lines = append(lines, "short of the quota: "+short)
	}
	return a.lines(append(lines, fmt.Sprintf("frame: SHA-256 %s", d.Digest), next)...)
}
