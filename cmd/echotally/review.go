package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"echotally/internal/docket"
	"echotally/internal/layout"
	"echotally/internal/library"
	"echotally/internal/review"
	"echotally/internal/store"
)

func newReviewCommand(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "review",
		Short: "Draw cases, have them read again, and compare",
		Long: `Peer review: cases are drawn at random from the studies of the ledger, a second
reader measures and grades them again on a worksheet that does not show what was
reported, and both are compared. What was drawn, by which seed and from which
studies, and what was entered is kept in the ledger and proved by its chain.

  1. review draw      draws the cases
  2. review sheet     writes the worksheets
  3. review enter     takes them back, or a second report
  4. review report    says how far the readings agree

What is measured again, and how far two readings may lie apart, is in the file
review/cases.yaml of the rules; a folder given by --rules may hold another one.`,
		Example: "  echotally review draw --quarter 2026-Q3 --quota 8 --by sonographer\n  echotally review sheet 1 --out draw-1",
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(newReviewDrawCommand(a), newReviewEnterCommand(a), newReviewListCommand(a), newReviewReportCommand(a), newReviewSheetCommand(a), newReviewSizeCommand(a), newReviewWithdrawCommand(a), newReviewUndrawCommand(a))
	return cmd
}

// drawOf finds the draw with the number.
func drawOf(list []review.Draw, number int) (*review.Draw, error) {
	i := slices.IndexFunc(list, func(d review.Draw) bool { return d.Number == number })
	if i < 0 {
		return nil, faults{hinted{fmt.Errorf("there is no draw %d", number), "echotally review list shows the draws"}}
	}
	return &list[i], nil
}

// items are what is measured again.
func (a *app) items() (*library.Library, *review.Items, error) {
	lib, err := a.judging(library.Settings{})
	if err != nil {
		return nil, nil, err
	}
	layers, err := a.layers()
	if err != nil {
		return nil, nil, err
	}
	items, err := review.LoadItems(lib, layers...)
	if err != nil {
		return nil, nil, faults{hinted{err, "mend the file; nothing was recorded"}}
	}
	return lib, items, nil
}

func newReviewListCommand(a *app) *cobra.Command {
	var (
		l       ledgerFlags
		entered bool
	)
	cmd := &cobra.Command{
		Use:   "list [DRAW]",
		Short: "List the draws, the cases of one, or the entries",
		Long: `List the draws with how many of their cases were read again, the cases of one draw
with their studies, or with --entries what was entered. Who did the studies, and who
read them again, is not shown.`,
		Example: "  echotally review list\n  echotally review list 2",
		Args:    arguments(0, 1),
		RunE: func(cmd *cobra.Command, args []string) error {
			s, err := l.view(cmd.Context())
			if err != nil {
				return err
			}
			defer s.Close()
			if entered {
				return listDecided(cmd.Context(), a, s, docket.EntryKind, "entry", func(e *review.Entry) string {
					return fmt.Sprintf("draw %d, %s from a %s", e.Draw, layout.Count(len(e.Rows), "row"), e.From)
				})
			}
			read, err := docket.Entries(cmd.Context(), s)
			if err != nil {
				return err
			}
			if len(args) == 0 {
				return listDecided(cmd.Context(), a, s, docket.DrawKind, "draw", func(d *review.Draw) string {
					return fmt.Sprintf("%s  %d cases of %d studies, %d read again  seed %s", d.Period, len(d.Cases), d.Eligible(), len(docket.ReadCases(read, d.Number)), d.Seed)
				})
			}
			number, err := strconv.Atoi(args[0])
			if err != nil {
				return faults{hinted{fmt.Errorf("%q is no number of a draw", args[0]), "echotally review list shows the draws"}}
			}
			list, err := docket.Draws(cmd.Context(), s)
			if err != nil {
				return err
			}
			return a.listCases(list, read, number)
		},
	}
	l.add(cmd)
	cmd.Flags().BoolVar(&entered, "entries", false, "what second readers entered, with its numbers")
	return cmd
}

func (a *app) listCases(list []review.Draw, read []review.Entry, number int) error {
	d, err := drawOf(list, number)
	if err != nil {
		return err
	}
	done := docket.ReadCases(read, number)
	var lines []string
	for _, c := range d.Cases {
		state := "not read again"
		if slices.Contains(done, c.Number) {
			state = "read again"
		}
		lines = append(lines, fmt.Sprintf("%d  %s  %s  %s", c.Number, c.Date, c.Study, state))
	}
	return a.lines(lines...)
}

func newReviewSizeCommand(a *app) *cobra.Command {
	var (
		population    int
		share, margin float64
		rate          float64
		clean         int
	)
	cmd := &cobra.Command{
		Use:   "size",
		Short: "Say how many cases are needed, or what clean ones exclude",
		Long: `Say how many cases show a share within a margin (Cochran 1977), how many clean cases
exclude a fault rate, and which fault rate a number of clean cases excludes (exact,
95 %). What a census shows is counted over all studies: see audit.`,
		Example: "  echotally review size --share 0.9 --margin 0.05 --population 250\n  echotally review size --rate 0.05\n  echotally review size --clean 8",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			given := cmd.Flags().Changed
			if !given("margin") && !given("rate") && !given("clean") {
				return faults{hinted{errors.New("nothing was asked"), "give --margin, --rate or --clean"}}
			}
			if share <= 0 || share >= 1 || given("margin") && (margin <= 0 || margin >= 0.5) || given("rate") && (rate <= 0 || rate >= 1) || population < 0 || given("clean") && clean < 1 {
				return faults{hinted{errors.New("a share or rate lies between 0 and 1, a margin between 0 and 0.5, a count is at least 1"), "such as --share 0.9 --margin 0.05"}}
			}
			return a.lines(review.SizeWords(given("margin"), share, margin, given("rate"), rate, clean, population)...)
		},
	}
	flags := cmd.Flags()
	flags.Float64Var(&share, "share", 0.5, "share that is expected, 0 to 1")
	flags.Float64Var(&margin, "margin", 0, "how far off it may be either side, 0 to 0.5")
	flags.Float64Var(&rate, "rate", 0, "fault rate to be excluded, 0 to 1")
	flags.IntVar(&clean, "clean", 0, "cases that were all clean")
	flags.IntVar(&population, "population", 0, "how many studies there are; 0 for no end")
	return cmd
}

func newReviewWithdrawCommand(a *app) *cobra.Command {
	return newWithdrawCommand(a, withdrawal{
		take: docket.Withdraw, noun: "entry", path: "review enter told the number; echotally review list --entries", example: "review withdraw",
		short: "Take back what a second reader entered",
		long: `Take an entry out of all figures, such as one under a wrong name. It stays in the
chain of the ledger. The same reader cannot enter the cases again, for what was
reported has been seen.`,
	})
}

func newReviewUndrawCommand(a *app) *cobra.Command {
	return newWithdrawCommand(a, withdrawal{
		take: undraw, noun: "draw", path: "echotally review list", example: "review undraw",
		short: "Take back a draw of which nothing was entered",
		long: `Take a draw back, such as one of a wrong period: its cases may be drawn again. That it
was made and taken back stays in the chain of the ledger and is told by review list,
for who draws until the cases please has not drawn at random. A draw of which
something was entered stays. Try a draw beforehand with review draw --dry-run.`,
	})
}

func undraw(ctx context.Context, s *store.Store, number int, by string) error {
	err := docket.Undraw(ctx, s, number, by)
	if errors.Is(err, docket.ErrEntered) {
		return faults{hinted{fmt.Errorf("of draw %d something was entered", number), "echotally review withdraw takes entries back first"}}
	}
	return err
}

// listed refuses a person who is not on the lab's list of staff, where it has one: a
// name that is spelled otherwise would be another person.
func listed(ctx context.Context, s *store.Store, pseudonym, who string) error {
	staff, err := s.Staff(ctx)
	if err != nil || len(staff) == 0 || staff[pseudonym] != "" {
		return err
	}
	return faults{hinted{fmt.Errorf("%s is not on the lab's list of staff", who), "write the name as the list does, or take the list in anew: echotally intake --roster"}}
}

// codes gives persons codes in the order of a keyed hash, so that nobody keeps a
// number from one document to the next.
func codes(mark func(string) string, document string, people []string) func(string) string {
	order := slices.Clone(people)
	slices.SortFunc(order, func(a, b string) int { return strings.Compare(mark(document+" "+a), mark(document+" "+b)) })
	order = slices.Compact(order)
	return func(pseudonym string) string {
		return "Reader " + strconv.Itoa(slices.Index(order, pseudonym)+1)
	}
}
