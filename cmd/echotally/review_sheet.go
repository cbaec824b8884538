package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"echotally/internal/audit"
	"echotally/internal/booklet"
	"echotally/internal/library"
	"echotally/internal/review"
)

func newReviewSheetCommand(a *app) *cobra.Command {
	var (
		l   ledgerFlags
		out string
	)
	cmd := &cobra.Command{
		Use:   "sheet DRAW --out DIR",
		Short: "Write the worksheets of a draw",
		Long: `Write the worksheets of a draw to an empty folder: worksheet.pdf to print,
worksheet.xlsx and worksheet.csv to fill in, worksheet.json for programs. They say
what to measure and grade again in which study, and show neither what was reported
nor by whom. Fill in the column value: a number in the unit of the row, a step of
the scale, or "` + review.NotMeasurable + `" where it cannot be measured; leave empty what was not done.`,
		Example: "  echotally review sheet 1 --out draw-1",
		Args:    arguments(1, 1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if out == "" {
				return faults{hinted{errors.New("nowhere to write to"), "name an empty folder by --out"}}
			}
			number, err := strconv.Atoi(args[0])
			if err != nil {
				return faults{hinted{fmt.Errorf("%q is no number of a draw", args[0]), "echotally review list shows the draws"}}
			}
			lib, items, err := a.items()
			if err != nil {
				return err
			}
			s, err := l.view(cmd.Context())
			if err != nil {
				return err
			}
			defer s.Close()
			list, err := draws(cmd.Context(), s)
			if err != nil {
				return err
			}
			d, err := drawOf(list, number)
			if err != nil {
				return err
			}
			return a.writeSheets(cmd.Context(), lib, items, d, out)
		},
	}
	l.add(cmd)
	cmd.Flags().StringVar(&out, "out", "", "empty folder to write to")
	return cmd
}

func (a *app) writeSheets(_ context.Context, lib *library.Library, items *review.Items, d *review.Draw, out string) error {
	if err := empty(out); err != nil {
		return err
	}
	rows := d.Worksheet(items)
	err := a.fill(out, func(dir string) error {
		for _, one := range []struct {
			name  string
			write func(io.Writer) error
		}{
			{"worksheet.pdf", func(w io.Writer) error { return booklet.PDF(w, a.worksheet(lib, d, rows)) }},
			{"worksheet.xlsx", func(w io.Writer) error { return review.WriteXLSX(w, rows) }},
			{"worksheet.csv", func(w io.Writer) error { return review.WriteCSV(w, rows) }},
			{"worksheet.json", func(w io.Writer) error { return review.WriteJSON(w, rows) }},
		} {
			f, err := os.Create(filepath.Join(dir, one.name))
			if err != nil {
				return err
			}
			if err := errors.Join(one.write(f), f.Close()); err != nil {
				return fmt.Errorf("write %s: %w", one.name, err)
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(a.stdout, "%d cases, %d things to measure or grade again; 4 files written to %s\nnext: echotally review enter %s --name READER\n",
		len(d.Cases), len(rows), out, filepath.Join(out, "worksheet.xlsx"))
	return err
}

// worksheet is the worksheet for print: a table for every case.
func (a *app) worksheet(lib *library.Library, d *review.Draw, rows []review.Row) *booklet.Booklet {
	b := &booklet.Booklet{
		Name: "worksheet", Title: fmt.Sprintf("Worksheet of draw %d", d.Number), Of: "studies of " + d.Period, Blank: true,
		Options: audit.Options{Cutoff: a.now(), Created: a.now(), Software: "echotally " + version, RuleSet: lib.Version, Edition: lib.Edition},
		Front: []booklet.Passage{{Title: "How to", Plain: true, Lines: []string{
			"Open each study by its UID, measure and grade without looking at the report, and write down what you found in the unit of the line. Write “" + review.NotMeasurable + "” where something cannot be measured, and leave empty what you did not do.",
			"Reader: ______________________________    Date: ____________________",
		}}},
	}
	for _, c := range d.Cases {
		t := audit.Table{
			Identifier: fmt.Sprintf("case-%d", c.Number), Title: fmt.Sprintf("Case %d: study of %s", c.Number, c.Date), Note: "Study Instance UID " + c.Study,
			Columns: []audit.Column{{Title: "What", Kind: audit.Words}, {Title: "How", Kind: audit.Words}, {Title: "Unit or scale", Kind: audit.Words}, {Title: "Found", Kind: audit.Words}},
		}
		for _, r := range rows {
			if r.Case == c.Number {
				t.Add(audit.TextCell(r.Title), audit.TextCell(r.How), audit.TextCell(r.Unit+strings.Join(r.Scale, ", ")), audit.TextCell("____________________"))
			}
		}
		b.Tables = append(b.Tables, t)
	}
	return b
}
