package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"echotally/internal/audit"
	"echotally/internal/booklet"
	"echotally/internal/booklet/pdfpage"
	"echotally/internal/desk"
	"echotally/internal/docket"
	"echotally/internal/echo"
	"echotally/internal/layout"
	"echotally/internal/library"
	"echotally/internal/review"
	"echotally/internal/run"
	"echotally/internal/table"
)

func newReviewSheetCommand(a *app) *cobra.Command {
	var (
		l  ledgerFlags
		to setFlags
		of []string
	)
	cmd := &cobra.Command{
		Use:   "sheet DRAW --out DIR",
		Short: "Write the worksheets of a draw",
		Long: `Write the worksheets of a draw to an empty folder: worksheet.pdf to print,
worksheet.xlsx and worksheet.csv to fill in, worksheet.json for programs. They say
what to measure and grade again in which study, and show neither what was reported
nor by whom. Fill in the column value: a number in the unit of the row, a step of
the scale, or "` + review.NotMeasurable + `" where it cannot be measured; leave empty what was not done.

With --identify, naming the files or folders of the reports, worksheet.pdf also bears
name, number and accession number of each patient, for a lab whose archive does not
find studies by UID. That sheet stays in the lab. The ledger holds no names: they are
read from the reports, and stand in no other file.`,
		Example: "  echotally review sheet 1 --out draw-1\n  echotally review sheet 1 --identify /archive/2026 --out draw-1",
		Args:    arguments(1, 1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if to.out == "" {
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
			list, err := docket.Draws(cmd.Context(), s)
			if err != nil {
				return err
			}
			d, err := drawOf(list, number)
			if err != nil {
				return err
			}
			who, err := a.identities(cmd.Context(), lib, d, of)
			if err != nil {
				return err
			}
			return a.writeSheets(lib, items, d, who, &to)
		},
	}
	l.add(cmd)
	to.addSet(cmd)
	cmd.Flags().StringSliceVar(&of, "identify", nil, "files or folders of the reports, whose names are to stand on worksheet.pdf")
	return cmd
}

// identities finds the patients of the cases in the reports, by the studies' UIDs.
func (a *app) identities(ctx context.Context, lib *library.Library, d *review.Draw, paths []string) (map[string]echo.Identity, error) {
	if len(paths) == 0 {
		return nil, nil
	}
	work, finish, err := a.desk(lib, false)
	if err != nil {
		return nil, err
	}
	found := &whose{draw: d, of: map[string]echo.Identity{}}
	_, err = desk.Read(ctx, work, paths, found)
	finish()
	if err != nil {
		return nil, err
	}
	if len(found.of) == 0 {
		return nil, faults{hinted{fmt.Errorf("none of the cases of draw %d is among these reports", d.Number), "name the files or folders in which the reports lie"}}
	}
	return found.of, nil
}

// whose gathers whose the cases are.
type whose struct {
	draw *review.Draw
	of   map[string]echo.Identity
}

// Begin has nothing to write.
func (w *whose) Begin(*run.Run) error { return nil }

// End has nothing to write.
func (w *whose) End() error { return nil }

// Leaf takes the study as it is.
func (w *whose) Leaf(s *run.Study) (*echo.Study, error) { return s.Study, nil }

// Add keeps the identity of a case.
func (w *whose) Add(s *echo.Study) error {
	if s != nil && slices.ContainsFunc(w.draw.Cases, func(c review.Case) bool { return c.Study == s.StudyInstanceUID }) {
		w.of[s.StudyInstanceUID] = s.Identity
	}
	return nil
}

func (a *app) writeSheets(lib *library.Library, items *review.Items, d *review.Draw, who map[string]echo.Identity, to *setFlags) error {
	if err := empty(to.out); err != nil {
		return err
	}
	rows := d.Worksheet(items)
	mode := os.FileMode(0o644)
	if who != nil {
		mode = 0o600 // for who wrote it alone, since it names patients
	}
	err := a.fill(to.out, func(dir string) error {
		for _, one := range []struct {
			name  string
			write func(io.Writer) error
		}{
			{"worksheet.pdf", func(w io.Writer) error { return booklet.PDF(w, a.worksheet(lib, d, rows, who, to.paper.Paper)) }},
			{"worksheet.xlsx", func(w io.Writer) error { return review.WriteXLSX(w, rows) }},
			{"worksheet.csv", func(w io.Writer) error { return review.WriteCSV(w, rows) }},
			{"worksheet.json", func(w io.Writer) error { return review.WriteJSON(w, rows) }},
		} {
			f, err := os.OpenFile(filepath.Join(dir, one.name), os.O_CREATE|os.O_EXCL|os.O_WRONLY, mode)
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
	lines := []string{
		fmt.Sprintf("%d cases, %d things to measure or grade again; 4 files written to %s", len(d.Cases), len(rows), to.out),
		fmt.Sprintf("next: echotally review enter %s --name READER", filepath.Join(to.out, "worksheet.xlsx")),
	}
	if who != nil {
		lines = append(lines, fmt.Sprintf("worksheet.pdf names the patients of %d of %d cases: it stays in the lab", len(who), len(d.Cases)))
	}
	return a.lines(lines...)
}

// worksheet is the worksheet for print: a table for every case.
func (a *app) worksheet(lib *library.Library, d *review.Draw, rows []review.Row, who map[string]echo.Identity, paper pdfpage.Paper) *booklet.Booklet {
	b := &booklet.Booklet{
		Name: "worksheet", Title: fmt.Sprintf("Worksheet of draw %d", d.Number), Of: "studies of " + d.Period, Paper: paper,
		Options: audit.Options{Cutoff: a.now(), Created: a.now(), Software: "echotally " + version, RuleSet: lib.Version, Edition: lib.Edition},
		Front: []booklet.Passage{{Title: "How to", Plain: true, Lines: []string{
			"Open each study by its UID, measure and grade without looking at the report, and write down what you found in the unit of the line. Write “" + review.NotMeasurable + "” where something cannot be measured, and leave empty what you did not do.",
			"Reader: ______________________________    Date: ____________________",
		}}},
	}
	if who != nil {
		b.Front = append(b.Front, booklet.Passage{Title: "This sheet names patients", Plain: true, Lines: []string{"It stays in the lab, is not sent, attached or put into a binder, and is destroyed when the readings have been entered."}})
	}
	for _, c := range d.Cases {
		t := table.Table{
			Identifier: fmt.Sprintf("case-%d", c.Number), Title: fmt.Sprintf("Case %d: study of %s", c.Number, c.Date), Note: strings.Join(layout.NonEmpty(patientOf(who, c.Study), "Study Instance UID "+c.Study), ". "),
			Columns: []table.Column{{Title: "What", Kind: table.Words}, {Title: "How", Kind: table.Words}, {Title: "Unit or scale", Kind: table.Words}, {Title: "Found", Kind: table.Words}},
		}
		for _, r := range rows {
			if r.Case == c.Number {
				t.Add(table.TextCell(r.Title), table.TextCell(r.How), table.TextCell(r.Unit+strings.Join(r.Scale, ", ")), table.TextCell("____________________"))
			}
		}
		b.Forms = append(b.Forms, t)
	}
	return b
}

// patientOf says whose the study is, "" where nobody asked.
func patientOf(who map[string]echo.Identity, study string) string {
	if who == nil {
		return ""
	}
	is, found := who[study]
	if !found {
		return "Patient: not among the reports named by --identify"
	}
	name := strings.Join(strings.FieldsFunc(is.PatientName.Reveal(), func(r rune) bool { return r == '^' || r == '=' }), " ")
	return "Patient: " + strings.Join(layout.NonEmpty(name, is.PatientID.Reveal(), is.AccessionNumber.Reveal()), ", ")
}
