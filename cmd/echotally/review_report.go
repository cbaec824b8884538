package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"echotally/internal/agreement"
	"echotally/internal/audit"
	"echotally/internal/booklet"
	"echotally/internal/booklet/pdfpage"
	"echotally/internal/docket"
	"echotally/internal/library"
	"echotally/internal/review"
	"echotally/internal/store"
)

func newReviewReportCommand(a *app) *cobra.Command {
	var (
		p  periodFlags
		to setFlags
		of []int
	)
	cmd := &cobra.Command{
		Use:   "report --draw 1 --out DIR",
		Short: "Say how far the readings agree",
		Long: `Compare what second readers entered with what was reported, for one draw or several:
bias and limits of agreement with their intervals, bias that grows with size,
intraclass correlation in all six forms, within-subject standard deviation and
coefficient of variation, repeatability, the share within the lab's tolerance
(coverage probability), agreement in grades,
each reader by a code of this report, the learning curves, and the cases to be
talked about. Written as page, print, workbook, JSON and CSV to an empty folder.`,
		Example: "  echotally review report --draw 1 --draw 2 --out agreement",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if to.out == "" || len(of) == 0 {
				return faults{hinted{errors.New("of which draws, and where to?"), "give --draw, once or more, and an empty folder by --out"}}
			}
			return a.reviewReport(cmd.Context(), &p, of, &to)
		},
	}
	p.ledgerFlags.add(cmd)
	p.addKey(cmd)
	cmd.Flags().IntSliceVar(&of, "draw", nil, "number of a draw (repeatable)")
	to.addSet(cmd)
	return cmd
}

func (a *app) reviewReport(ctx context.Context, p *periodFlags, of []int, to *setFlags) error {
	if err := empty(to.out); err != nil {
		return err
	}
	lib, items, err := a.items()
	if err != nil {
		return err
	}
	s, err := p.viewKeyed(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	chosen, title, err := drawsOf(ctx, s, of)
	if err != nil {
		return err
	}
	read, err := docket.Entries(ctx, s)
	if err != nil {
		return err
	}
	people := readersOf(chosen, read)
	if len(people) == 0 {
		return hinted{errors.New("nothing was entered for these draws"), "echotally review enter takes in worksheets"}
	}
	r := agreement.Compare(items, chosen, read, codes(p.marker(ctx), title, people))
	var files []string
	if err := a.fill(to.out, func(dir string) (err error) {
		files, err = booklet.Set(dir, a.agreement(lib, r, title, to.paper.Paper))
		return err
	}); err != nil {
		return err
	}
	return a.lines(append(points(r.Short()), fmt.Sprintf("%d files written to %s", len(files), to.out))...)
}

// readersOf are the second readers of draws, by pseudonym, as often as they entered.
func readersOf(chosen []*review.Draw, read []review.Entry) []string {
	var out []string
	for _, e := range read {
		if slices.ContainsFunc(chosen, func(d *review.Draw) bool { return d.Number == e.Draw }) {
			out = append(out, e.Reader)
		}
	}
	return out
}

// drawsOf are the draws with the numbers, all where none is named, and their name
// together.
func drawsOf(ctx context.Context, s *store.Store, of []int) (chosen []*review.Draw, title string, err error) {
	list, err := docket.Draws(ctx, s)
	if err != nil {
		return nil, "", err
	}
	if len(of) == 0 {
		for i := range list {
			chosen = append(chosen, &list[i])
		}
		return chosen, "all draws", nil
	}
	var names []string
	slices.Sort(of)
	for _, number := range slices.Compact(of) {
		d, err := drawOf(list, number)
		if err != nil {
			return nil, "", err
		}
		chosen, names = append(chosen, d), append(names, strconv.Itoa(number))
	}
	return chosen, "draw " + strings.Join(names, ", "), nil
}

func (a *app) agreement(lib *library.Library, r *agreement.Report, title string, paper pdfpage.Paper) *booklet.Booklet {
	b := &booklet.Booklet{
		Name: "agreement", Title: "Agreement of readings", Of: title, Paper: paper, Tables: r.Tables,
		Options: audit.Options{Cutoff: a.now(), Created: a.now(), Software: "echotally " + version, RuleSet: lib.Version, Edition: lib.Edition},
		Front:   []booklet.Passage{{Title: "In short", Lines: r.Short()}},
	}
	for i, one := range r.Plots {
		b.Charts = append(b.Charts, booklet.Pairs(one).Chart(i+1))
		b.Caption = booklet.PairsCaption + " "
	}
	if len(r.Curves) > 0 {
		b.Caption += "Learning curves: rising with what lies outside the tolerance, falling with what lies within; triangle on the lower line: acceptable, diamond on the upper one: look at it together; after either it begins anew."
	}
	for i, one := range r.Curves {
		drawn := booklet.Curve{Identifier: fmt.Sprintf("learning-%d", i+1), Title: one.Reader + ", thing by thing: within the tolerance", Of: "thing", Met: one.Met, Dates: one.Dates, Test: one.Test}
		b.Charts = append(b.Charts, booklet.Chart{Figure: drawn.Figure(booklet.WideWidth, booklet.WideHeight)})
	}
	return b
}
