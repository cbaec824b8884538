package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"echotally/internal/accreditation"
	"echotally/internal/agreement"
	"echotally/internal/audit"
	"echotally/internal/booklet"
	"echotally/internal/booklet/pdfpage"
	"echotally/internal/docket"
	"echotally/internal/library"
	"echotally/internal/printable"
	"echotally/internal/review"
	"echotally/internal/store"
	"echotally/internal/table"
)

func newMeetingCommand(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "meeting",
		Short: "Prepare a meeting about quality, and record who took part",
		Long: `Prepare a meeting about the quality of the lab, and record that it was held: its
date, who took part (only pseudonyms are kept) and the minutes by their hash.`,
		Example: "  echotally meeting pack --quarter 2026-Q3 --out meeting\n  echotally meeting record --date 2026-10-12 --title quality-2026-Q3 --attendance present.csv --minutes minutes.pdf",
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(newMeetingListCommand(a), newMeetingPackCommand(a), newMeetingRecordCommand(a), newMeetingWithdrawCommand(a))
	return cmd
}

// packFlags are the flags of meeting pack.
type packFlags struct {
	periodFlags
	setFlags
	roster string
}

func newMeetingPackCommand(a *app) *cobra.Command {
	f := &packFlags{}
	cmd := &cobra.Command{
		Use:   "pack --quarter 2026-Q3 --out DIR",
		Short: "Write agenda, material and forms for a meeting",
		Long: `Write what a meeting about a period needs to an empty folder: the agenda from what
signals, what would help most, open actions and the cases in which readings differ
most, the tables behind it, a form for the minutes and one for who took part, and
attendance.csv to be filled in for meeting record. With --roster, the list of staff
that intake --roster takes, attendance.csv holds its names and attendance.pdf is the
list to be signed; they name people and stand in no other file. attendance.csv reads

  name,took part
  Marrow^Ines,present
  Hallam^Rune,read
  Tallow^Per,absent`,
		Example: "  echotally meeting pack --quarter 2026-Q3 --roster staff.csv --out meeting",
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return f.run(cmd.Context(), a) },
	}
	f.add(cmd)
	f.addSet(cmd)
	cmd.Flags().StringVar(&f.roster, "roster", "", "the lab's list of staff (CSV: name, role), to fill attendance.csv and its form")
	return cmd
}

func (f *packFlags) run(ctx context.Context, a *app) error {
	if f.out == "" {
		return faults{hinted{errors.New("nowhere to write to"), "name an empty folder by --out"}}
	}
	if err := empty(f.out); err != nil {
		return err
	}
	staff, err := f.staff()
	if err != nil {
		return err
	}
	lib, items, err := a.items()
	if err != nil {
		return err
	}
	opt, err := f.options(ctx, a, lib)
	if err != nil {
		return err
	}
	s, err := f.viewKeyed(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	b, err := f.pack(ctx, s, lib, items, opt)
	if err != nil {
		return err
	}
	err = a.fill(f.out, func(dir string) error {
		if _, err := booklet.Set(dir, b); err != nil {
			return err
		}
		return attendanceIn(dir, staff, opt, f.paper.Paper)
	})
	if err != nil {
		return err
	}
	return a.lines(fmt.Sprintf("agenda of %d points written to %s", len(b.Front), f.out),
		fmt.Sprintf("next: fill in %s, then echotally meeting record --attendance", filepath.Join(f.out, "attendance.csv")))
}

// pack is the meeting as a booklet.
func (f *packFlags) pack(ctx context.Context, s *store.Store, lib *library.Library, items *review.Items, opt audit.Options) (*booklet.Booklet, error) {
	var err error
	if opt.Actions, err = actions(ctx, s); err != nil {
		return nil, err
	}
	studies, err := f.studies(ctx, s, opt.Period.Look(), lib, nil)
	if err != nil {
		return nil, err
	}
	report := audit.Build(studies.before, opt)
	if report.Received == 0 {
		return nil, hinted{fmt.Errorf("no study of %s in the ledger: there is nothing to talk about", opt.Period.Name), "echotally ledger stats shows which days it holds"}
	}
	readings, err := readingsOf(ctx, s, items, opt)
	if err != nil {
		return nil, err
	}
	return meetingPack(report, readings, f.paper.Paper, f.roster != ""), nil
}

// meetingPack is a meeting about what an audit and second readings found; a list of who
// took part is in it unless one with names is made beside it.
func meetingPack(report *audit.Report, readings *agreement.Report, paper pdfpage.Paper, named bool) *booklet.Booklet {
	opt := report.Options
	var helps, open []string
	for _, p := range report.Proposals {
		helps = append(helps, p.Text)
	}
	for _, one := range opt.Actions {
		if state := one.State(opt.Cutoff); state != "closed" {
			open = append(open, fmt.Sprintf("action %d, %s (%s), due %s: %s", one.Number, one.Title, one.OwnerShown(), dateOr(one.Due), state))
		}
	}
	b := &booklet.Booklet{
		Name: "meeting", Title: "Meeting about quality", Of: "studies of " + opt.Period.Name, Options: opt, Paper: paper,
		Front: []booklet.Passage{
			{Title: "1. Minutes of the last meeting", Plain: true, Lines: []string{"Taken as they stand, or changed: ______________________________"}},
			{Title: "2. What signals", Lines: report.Notable()}, {Title: "3. What would help most", Lines: helps}, {Title: "4. Open actions", Lines: open},
			{Title: "5. Cases read again", Lines: readAgain(readings)}, {Title: "6. New actions, who sees to them, until when", Plain: true, Lines: []string{"On the form of the minutes, last in this pack."}},
		},
	}
	if len(readings.Draws) > 0 {
		b.Tables = append(b.Tables, readings.Table("disagreements"))
	}
	for _, t := range report.Tables {
		if t.Identifier == "headlines" || t.Identifier == "actions" {
			b.Tables = append(b.Tables, t)
		}
	}
	b.Forms = append(b.Forms, form("minutes", "Minutes", "Date: ______________   Begun: ________   Ended: ________   Minutes taken by: ______________________", 14, []int{8, 38, 14, 12}, "Point", "Talked about and decided", "Who (a role)", "Until"))
	if !named {
		b.Forms = append(b.Forms, form("attendance", attendanceTitle, attendanceNote, 16, attendanceBlanks, attendanceColumns...))
	}
	return b
}

// form is a table to be filled in by hand.
func form(identifier, title, note string, lines int, blanks []int, columns ...string) table.Table {
	t := table.Table{Identifier: identifier, Title: title, Note: note}
	for _, c := range columns {
		t.Columns = append(t.Columns, table.Column{Identifier: c, Title: c, Kind: table.Words, Meaning: "filled in by hand"})
	}
	for range lines {
		var row []table.Cell
		for i := range columns {
			row = append(row, table.TextCell(strings.Repeat("_", blanks[i])))
		}
		t.Add(row...)
	}
	return t
}

// readAgain says what came of the cases read again.
func readAgain(r *agreement.Report) []string {
	if len(r.Draws) == 0 {
		return []string{"no cases were drawn from this time (echotally review draw)"}
	}
	return r.Short()
}

// readingsOf compares the cases read again of the draws that touch the period.
func readingsOf(ctx context.Context, s *store.Store, items *review.Items, opt audit.Options) (*agreement.Report, error) {
	list, err := docket.Draws(ctx, s)
	if err != nil {
		return nil, err
	}
	read, err := docket.Entries(ctx, s)
	if err != nil {
		return nil, err
	}
	var of []*review.Draw
	var people []string
	for i := range list {
		if list[i].From <= opt.Period.To.Format(time.DateOnly) && list[i].To >= opt.Period.From.Format(time.DateOnly) {
			of = append(of, &list[i])
		}
	}
	for _, e := range read {
		people = append(people, e.Reader)
	}
	return agreement.Compare(items, of, read, codes(opt.Mark, "meeting "+opt.Period.Name, people)), nil
}

func newMeetingListCommand(a *app) *cobra.Command {
	var l ledgerFlags
	cmd := &cobra.Command{
		Use:     "list",
		Short:   "List the meetings that were recorded",
		Long:    "List the meetings that were recorded, with how many took part.",
		Example: "  echotally meeting list",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			s, err := l.view(cmd.Context())
			if err != nil {
				return err
			}
			defer s.Close()
			return listDecided(cmd.Context(), a, s, meetingKind, "meeting", func(m *accreditation.Meeting) string {
				return fmt.Sprintf("%s  %s  %d present, %d read the minutes", m.Date, printable.Line(m.Title), len(m.Present), len(m.Informed))
			})
		},
	}
	l.add(cmd)
	return cmd
}

func newMeetingWithdrawCommand(a *app) *cobra.Command {
	return newWithdrawCommand(a, withdrawal{
		kind: meetingKind, noun: "meeting", path: "echotally meeting list", example: "meeting withdraw",
		short: "Take back a meeting that was recorded by mistake",
		long:  "Take a meeting out of all figures; it stays in the chain of the ledger.",
	})
}
