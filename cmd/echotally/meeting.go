package main

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"echotally/internal/accreditation"
	"echotally/internal/audit"
	"echotally/internal/booklet"
	"echotally/internal/library"
	"echotally/internal/printable"
	"echotally/internal/review"
	"echotally/internal/store"
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
	out string
}

func newMeetingPackCommand(a *app) *cobra.Command {
	f := &packFlags{}
	cmd := &cobra.Command{
		Use:   "pack --quarter 2026-Q3 --out DIR",
		Short: "Write agenda, material and forms for a meeting",
		Long: `Write what a meeting about a period needs to an empty folder: the agenda from what
signals, what would help most, open actions and the cases in which readings differ,
the tables behind it, a form for the minutes and one for who took part, and
attendance.csv to be filled in for meeting record.`,
		Example: "  echotally meeting pack --quarter 2026-Q3 --out meeting",
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return f.run(cmd.Context(), a) },
	}
	f.add(cmd)
	cmd.Flags().StringVar(&f.out, "out", "", "empty folder to write to")
	return cmd
}

func (f *packFlags) run(ctx context.Context, a *app) error {
	if f.out == "" {
		return faults{hinted{errors.New("nowhere to write to"), "name an empty folder by --out"}}
	}
	if err := empty(f.out); err != nil {
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
		return os.WriteFile(dir+"/attendance.csv", []byte("name,took part\n"), 0o644)
	})
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(a.stdout, "agenda of %d points written to %s\n", len(b.Front), f.out)
	return err
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
	readings, err := f.readings(ctx, s, items, opt)
	if err != nil {
		return nil, err
	}
	var helps, open []string
	for _, p := range report.Proposals {
		helps = append(helps, p.Text)
	}
	for _, one := range opt.Actions {
		if state := one.State(opt.Cutoff); state != "closed" {
			open = append(open, fmt.Sprintf("action %d, %s (%s), due %s: %s", one.Number, one.Title, one.Owner, dateOr(one.Due), state))
		}
	}
	b := &booklet.Booklet{
		Name: "meeting", Title: "Meeting about quality", Of: "studies of " + opt.Period.Name, Options: opt,
		Front: []booklet.Passage{
			{Title: "1. Minutes of the last meeting", Plain: true, Lines: []string{"Taken as they stand, or changed: ______________________________"}},
			{Title: "2. What signals", Lines: report.Notable()}, {Title: "3. What would help most", Lines: helps}, {Title: "4. Open actions", Lines: open},
			{Title: "5. Cases read again", Lines: readings.Short()}, {Title: "6. New actions, who sees to them, until when", Plain: true, Lines: []string{"See the form below."}},
		},
		Tables: []audit.Table{readings.Table("disagreements")},
	}
	for _, t := range report.Tables {
		if t.Identifier == "headlines" || t.Identifier == "actions" {
			b.Tables = append(b.Tables, t)
		}
	}
	b.Tables = append(b.Tables, form("minutes", "Minutes", "Date: ______________   Begun: ________   Ended: ________   Minutes taken by: ______________________", 14, []int{8, 38, 14, 12}, "Point", "Talked about and decided", "Who", "Until"),
		form("attendance", "Who took part", "Those who were not present sign that they have read the minutes.", 16, []int{30, 18, 14, 22}, "Name", "Role", "Present or read", "Signature"))
	return b, nil
}

// form is a table to be filled in by hand.
func form(identifier, title, note string, lines int, blanks []int, columns ...string) audit.Table {
	t := audit.Table{Identifier: identifier, Title: title, Note: note}
	for _, c := range columns {
		t.Columns = append(t.Columns, audit.Column{Identifier: c, Title: c, Kind: audit.Words, Meaning: "filled in by hand"})
	}
	for range lines {
		var row []audit.Cell
		for i := range columns {
			row = append(row, audit.TextCell(strings.Repeat("_", blanks[i])))
		}
		t.Add(row...)
	}
	return t
}

// readings compares the cases of the period that were read again.
func (f *packFlags) readings(ctx context.Context, s *store.Store, items *review.Items, opt audit.Options) (*review.Report, error) {
	list, err := draws(ctx, s)
	if err != nil {
		return nil, err
	}
	read, err := entries(ctx, s)
	if err != nil {
		return nil, err
	}
	var of []*review.Draw
	var people []string
	for i := range list {
		if from, err := time.Parse(time.DateOnly, list[i].From); err == nil && opt.Period.Holds(from) {
			of = append(of, &list[i])
		}
	}
	for _, e := range read {
		people = append(people, e.Reader)
	}
	return review.Compare(items, of, read, codes(opt.Mark, "meeting "+opt.Period.Name, people)), nil
}

// recordFlags are the flags of meeting record.
type recordFlags struct {
	ledgerFlags
	meeting             accreditation.Meeting
	attendance, minutes string
}

func newMeetingRecordCommand(a *app) *cobra.Command {
	f := &recordFlags{}
	cmd := &cobra.Command{
		Use:   "record --date 2026-10-12 --title TEXT --attendance FILE",
		Short: "Record that a meeting was held",
		Long: `Record that a meeting was held. The attendance is a CSV file with the columns name
and took part, which is present, or read for who signed to have read the minutes;
only pseudonyms are kept. The minutes stay with the lab; name, size and SHA-256 of
the file are noted.`,
		Example: "  echotally meeting record --date 2026-10-12 --title quality-2026-Q3 --attendance attendance.csv --minutes minutes.pdf",
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return f.run(cmd.Context(), a) },
	}
	f.add(cmd)
	f.addKey(cmd)
	flags := cmd.Flags()
	flags.StringVar(&f.meeting.Date, "date", "", "when it was held, such as 2026-10-12")
	flags.StringVar(&f.meeting.Title, "title", "", "what it was")
	flags.StringVar(&f.attendance, "attendance", "", "CSV file of who took part")
	flags.StringVar(&f.minutes, "minutes", "", "file of the minutes")
	return cmd
}

func (f *recordFlags) run(ctx context.Context, a *app) error {
	if at, err := time.Parse(time.DateOnly, f.meeting.Date); err != nil || at.After(a.now()) {
		return faults{hinted{fmt.Errorf("--date %q is no day that has been", f.meeting.Date), "write it as 2026-10-12"}}
	}
	if f.meeting.Title == "" {
		return faults{hinted{errors.New("what was it?"), "give --title"}}
	}
	key, err := f.readKey(ctx)
	if err != nil {
		return err
	}
	if f.attendance == "" {
		return faults{hinted{errors.New("who took part?"), "give --attendance; meeting pack writes a form of it"}}
	}
	if err := f.attended(a, key); err != nil {
		return err
	}
	if f.minutes != "" {
		if f.meeting.Minutes, err = shownFile(f.minutes); err != nil {
			return err
		}
	}
	s, err := f.open(ctx, a, true)
	if err != nil {
		return err
	}
	defer s.Close()
	for _, who := range slices.Concat(f.meeting.Present, f.meeting.Informed) {
		if err := listed(ctx, s, who, "one of the attendance"); err != nil {
			return err
		}
	}
	var refused error
	_, err = s.Decide(ctx, meetingKind, func(known []store.Decision) (any, error) {
		before, err := bodies[accreditation.Meeting](known)
		if err != nil {
			return nil, err
		}
		refused = f.meeting.Check(before)
		return f.meeting, refused
	})
	if refused != nil {
		return faults{hinted{refused, "echotally meeting list shows the meetings"}}
	}
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(a.stdout, "meeting of %s recorded: %d present, %d read the minutes\n", f.meeting.Date, len(f.meeting.Present), len(f.meeting.Informed))
	return err
}

// attended reads who took part; a row that cannot stand refuses the list.
func (f *recordFlags) attended(a *app, key *store.Key) error {
	info, err := os.Stat(f.attendance)
	switch {
	case err != nil:
		return hinted{fmt.Errorf("attendance: %w", err), "give a CSV file with the columns name and took part"}
	case !info.Mode().IsRegular() || info.Size() > mostWorksheet:
		return faults{hinted{errors.New("attendance: not a file of at most 16 MiB"), "give a CSV file with the columns name and took part"}}
	}
	file, err := os.Open(f.attendance)
	if err != nil {
		return hinted{fmt.Errorf("attendance: %w", err), "check the permissions"}
	}
	defer file.Close()
	c := csv.NewReader(file)
	c.FieldsPerRecord, c.TrimLeadingSpace = -1, true
	rows, err := c.ReadAll()
	if err != nil {
		return faults{hinted{errors.New("attendance: not a CSV file"), "the columns are name and took part"}}
	}
	list, wrong := accreditation.ReadAttendance(rows)
	if len(wrong) > 0 {
		for _, line := range wrong {
			fmt.Fprintln(a.stderr, line)
		}
		return faults{hinted{errors.New("attendance: the list was not taken"), "mend the lines and give it again"}}
	}
	for _, one := range list {
		who := key.Pseudonym(one.Name)
		to := &f.meeting.Present
		if one.ReadByHand {
			to = &f.meeting.Informed
		}
		if who != "" && !slices.Contains(*to, who) {
			*to = append(*to, who)
		}
	}
	return nil
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
			list, err := decided[accreditation.Meeting](cmd.Context(), s, meetingKind)
			if err != nil {
				return err
			}
			for i, m := range list {
				if m.Withdraws != 0 {
					if _, err := fmt.Fprintf(a.stdout, "%d  meeting %d withdrawn by the %s\n", i+1, m.Withdraws, m.By); err != nil {
						return err
					}
					continue
				}
				if _, err := fmt.Fprintf(a.stdout, "%d  %s  %s  %d present, %d read the minutes\n", i+1, m.Date, printable.Line(m.Title), len(m.Present), len(m.Informed)); err != nil {
					return err
				}
			}
			return nil
		},
	}
	l.add(cmd)
	return cmd
}

func newMeetingWithdrawCommand(a *app) *cobra.Command {
	var (
		l ledgerFlags
		m accreditation.Meeting
	)
	cmd := &cobra.Command{
		Use:     "withdraw NUMBER --by ROLE",
		Short:   "Take back a meeting that was recorded by mistake",
		Long:    "Take a meeting out of all figures; it stays in the chain of the ledger.",
		Example: "  echotally meeting withdraw 2 --by quality-manager",
		Args:    arguments(1, 1),
		RunE: func(cmd *cobra.Command, args []string) error {
			number, err := strconv.Atoi(args[0])
			if err != nil || number < 1 || !slices.Contains(store.Roles, m.By) {
				return faults{hinted{errors.New("withdraw takes the number of a meeting and --by a role"), "echotally meeting list shows them; roles: " + strings.Join(store.Roles, ", ")}}
			}
			m.Withdraws = number
			s, err := l.open(cmd.Context(), a, false)
			if err != nil {
				return err
			}
			defer s.Close()
			var refused error
			_, err = s.Decide(cmd.Context(), meetingKind, func(known []store.Decision) (any, error) {
				before, err := bodies[accreditation.Meeting](known)
				if err != nil {
					return nil, err
				}
				refused = m.Check(before)
				return m, refused
			})
			if refused != nil {
				return faults{hinted{refused, "echotally meeting list shows the meetings"}}
			}
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(a.stdout, "meeting %d no longer counts\n", number)
			return err
		},
	}
	l.add(cmd)
	cmd.Flags().StringVar(&m.By, "by", "", "who takes it back, as a role")
	complete(cmd, "by", store.Roles...)
	return cmd
}
