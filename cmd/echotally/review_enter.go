package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"echotally/internal/docket"
	"echotally/internal/library"
	"echotally/internal/printable"
	"echotally/internal/review"
	"echotally/internal/store"
)

// enterFlags are the flags of review enter.
type enterFlags struct {
	ledgerFlags
	name   string
	draw   int
	report bool
	partly bool
}

func newReviewEnterCommand(a *app) *cobra.Command {
	f := &enterFlags{}
	cmd := &cobra.Command{
		Use:   "enter FILE --name READER",
		Short: "Take in what a second reader found",
		Long: `Take in a worksheet that a second reader filled in (xlsx, csv or json), or, with
--report, the second reader's own structured report of a case. Only after it is in
the ledger is it shown beside what was reported. When a row cannot stand, all of them
are told and nothing is taken; mend them and give the file again, or take the others
with --partly. What a reader entered once stays, for by then the reader has seen what
was reported; review withdraw takes an entry out of the figures.`,
		Example: "  echotally review enter draw-1/worksheet.xlsx --name 'Hallam^Rune'\n  echotally review enter --report --draw 1 second-reading.dcm --name 'Hallam^Rune'",
		Args:    arguments(1, 1),
		RunE:    func(cmd *cobra.Command, args []string) error { return f.run(cmd.Context(), a, args[0]) },
	}
	f.add(cmd)
	f.addKey(cmd)
	flags := cmd.Flags()
	flags.StringVar(&f.name, "name", "", "the second reader's name as in the reports; only its pseudonym is kept")
	flags.IntVar(&f.draw, "draw", 0, "the draw of the cases, with --report")
	flags.BoolVar(&f.partly, "partly", false, "take the rows that can stand where others cannot")
	flags.BoolVar(&f.report, "report", false, "FILE is a report, or a folder of reports, of cases of the draw")
	return cmd
}

func (f *enterFlags) run(ctx context.Context, a *app, path string) error {
	if f.name == "" {
		return faults{hinted{errors.New("who read the cases?"), "give --name, as the reports write it"}}
	}
	lib, items, err := a.items()
	if err != nil {
		return err
	}
	key, err := f.readKey(ctx)
	if err != nil {
		return err
	}
	s, err := f.open(ctx, a, true)
	if err != nil {
		return err
	}
	defer s.Close()
	list, err := docket.Draws(ctx, s)
	if err != nil {
		return err
	}
	var rows []review.Row
	from := "worksheet"
	if f.report {
		from = "report"
		rows, err = f.rowsOfReports(ctx, a, s, lib, items, list, path)
	} else {
		rows, err = readWorksheet(path)
	}
	if err != nil {
		return err
	}
	number := f.draw
	for _, r := range rows {
		if number == 0 {
			number = r.Draw
		}
	}
	d, err := drawOf(list, number)
	if err != nil {
		return err
	}
	reader := key.Pseudonym(f.name)
	if err := listed(ctx, s, reader, "the reader of --name"); err != nil {
		return err
	}
	return f.enter(ctx, a, s, items, d, review.Entry{Reader: reader, From: from}, rows)
}

// enter records what can stand, then shows it beside what was reported.
func (f *enterFlags) enter(ctx context.Context, a *app, s *store.Store, items *review.Items, d *review.Draw, e review.Entry, rows []review.Row) error {
	done, err := docket.Enter(ctx, s, items, d, e, rows, f.partly)
	for i, one := range done.Faults {
		if i == faultsTold {
			fmt.Fprintf(a.stderr, "and %d more rows\n", len(done.Faults)-i)
			break
		}
		fmt.Fprintln(a.stderr, printable.Line(one.String()))
	}
	switch {
	case errors.Is(err, docket.ErrNothing):
		return faults{hinted{err, "fill in the column value of rows not entered before"}}
	case errors.Is(err, docket.ErrNotAll):
		return faults{hinted{err, "mend the rows and give the file again; --partly takes the others"}}
	case err != nil:
		return err
	}
	t := tabwriter.NewWriter(a.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "case\twhat\treported\tread again\twithin tolerance")
	for _, line := range d.Beside(items, done.Entry) {
		fmt.Fprintf(t, "%d\t%s\t%s\t%s\t%s\n", line.Case, line.What, line.Reported, line.Again, line.Agrees)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	if _, err := fmt.Fprintf(a.stdout, "entry %d: %d rows recorded for draw %d, %d not taken\n", done.Number, len(done.Entry.Rows), d.Number, len(done.Faults)); err != nil {
		return err
	}
	if len(done.Faults) > 0 {
		return outcome(exitIncomplete)
	}
	return nil
}

// faultsTold is how many rows that cannot stand are told one by one.
const faultsTold = 20

// mostWorksheet bounds a worksheet that is read.
const mostWorksheet = 16 << 20

func readWorksheet(path string) ([]review.Row, error) {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return nil, hinted{fmt.Errorf("worksheet: %w", err), "give the file that review sheet wrote, filled in"}
	case !info.Mode().IsRegular() || info.Size() > mostWorksheet:
		return nil, faults{hinted{errors.New("worksheet: not a file of at most 16 MiB"), "give the file that review sheet wrote, filled in"}}
	}
	src, err := os.ReadFile(path)
	if err != nil {
		return nil, hinted{fmt.Errorf("worksheet: %w", err), "check the permissions"}
	}
	rows, err := review.ReadSheet(src)
	if err != nil {
		return nil, faults{hinted{err, "give the xlsx, csv or json file that review sheet wrote, filled in"}}
	}
	return rows, nil
}

func (f *enterFlags) rowsOfReports(ctx context.Context, a *app, ledger *store.Store, lib *library.Library, items *review.Items, list []review.Draw, path string) ([]review.Row, error) {
	if f.draw == 0 {
		return nil, faults{hinted{errors.New("of which draw are the cases?"), "give --draw; echotally review list shows the draws"}}
	}
	d, err := drawOf(list, f.draw)
	if err != nil {
		return nil, err
	}
	work, finish, err := a.desk(lib, false)
	if err != nil {
		return nil, err
	}
	rows, err := docket.ReadReports(ctx, ledger, work, items, d, []string{path})
	finish()
	if _, refused := errors.AsType[*docket.Refused](err); refused {
		hint := "a second report keeps the Study Instance UID of its case"
		if errors.Is(err, docket.ErrReported) {
			hint = "give the report that the second reader wrote"
		}
		return nil, faults{hinted{err, hint}}
	}
	return rows, err
}
