package main

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"echotally/internal/accreditation"
	"echotally/internal/store"
	"echotally/internal/store/decision"
	"echotally/internal/store/keyfile"
)

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
and took part, which is present, read for who signed to have read the minutes, or
absent (also when it is left empty); only pseudonyms are kept. The minutes stay with the lab; name, size and SHA-256 of
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
	rows, err := namesIn(f.attendance, "attendance", "the columns are name and took part")
	if err != nil {
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
	if err := recordMeeting(ctx, s, key, &f.meeting, rows); err != nil {
		return err
	}
	_, err = fmt.Fprintf(a.stdout, "meeting of %s recorded: %d present, %d read the minutes\n", f.meeting.Date, len(f.meeting.Present), len(f.meeting.Informed))
	return err
}

// recordMeeting records a meeting with those of an attendance list, by pseudonym.
func recordMeeting(ctx context.Context, s *store.Store, key *keyfile.Key, m *accreditation.Meeting, rows [][]string) error {
	if err := attended(m, key, rows); err != nil {
		return err
	}
	for _, who := range slices.Concat(m.Present, m.Informed) {
		if err := listed(ctx, s, who, "one of the attendance"); err != nil {
			return err
		}
	}
	var refused error
	_, err := s.Decide(ctx, meetingKind, func(known []decision.Decision) (any, error) {
		before, err := decision.SaidOf[accreditation.Meeting](known)
		if err != nil {
			return nil, err
		}
		refused = m.Check(decision.Counting(before))
		return m, refused
	})
	if refused != nil {
		return faults{hinted{refused, "echotally meeting list shows the meetings"}}
	}
	return err
}

// attended notes who took part; a row that cannot stand refuses the list.
func attended(m *accreditation.Meeting, key *keyfile.Key, rows [][]string) error {
	list, wrong := accreditation.ReadAttendance(rows)
	if len(wrong) > 0 {
		return faults{hinted{fmt.Errorf("attendance: the list was not taken: %s", strings.Join(wrong, "; ")), "mend the lines and give it again"}}
	}
	for _, one := range list {
		who := key.Pseudonym(one.Name)
		to := &m.Present
		if one.ReadByHand {
			to = &m.Informed
		}
		if who != "" && !slices.Contains(*to, who) {
			*to = append(*to, who)
		}
	}
	return nil
}

// namesIn reads a small CSV file of people.
func namesIn(path, what, columns string) ([][]string, error) {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return nil, hinted{fmt.Errorf("%s: %w", what, err), "give a CSV file; " + columns}
	case !info.Mode().IsRegular() || info.Size() > mostWorksheet:
		return nil, faults{hinted{fmt.Errorf("%s: not a file of at most 16 MiB", what), "give a CSV file; " + columns}}
	}
	file, err := os.Open(path)
	if err != nil {
		return nil, hinted{fmt.Errorf("%s: %w", what, err), "check the permissions"}
	}
	defer file.Close()
	return namesFrom(file, what, columns)
}

// namesFrom reads the rows of a CSV list of people.
func namesFrom(r io.Reader, what, columns string) ([][]string, error) {
	c := csv.NewReader(r)
	c.FieldsPerRecord, c.TrimLeadingSpace = -1, true
	rows, err := c.ReadAll()
	if err != nil {
		return nil, faults{hinted{fmt.Errorf("%s: not a CSV file", what), columns}}
	}
	return rows, nil
}
