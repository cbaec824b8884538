package main

import (
	"context"
	"errors"
	"io"

	"echotally/internal/accreditation"
	"echotally/internal/audit"
	"echotally/internal/booklet"
	"echotally/internal/booklet/pdfpage"
	"echotally/internal/store"
	"echotally/internal/store/decision"
	"echotally/internal/web/frame"
	"echotally/internal/web/meeting"
	"echotally/internal/web/period"
)

// meetingPages give the page what meetings need, as the command meeting does.
func (s *serving) meetingPages(of *period.Pages) *meeting.Pages {
	return &meeting.Pages{
		Period: of, Held: heldMeetings,
		Pack: func(ctx context.Context, ledger *store.Store, r *audit.Report) (*booklet.Booklet, error) {
			_, items, err := s.items()
			if err != nil {
				return nil, err
			}
			readings, err := readingsOf(ctx, ledger, items, r.Options)
			if err != nil {
				return nil, err
			}
			return meetingPack(r, readings, pdfpage.A4, false), nil
		},
		Write: func(b *booklet.Booklet) (content []byte, err error) {
			err = packed(&content, func(dir string) error {
				if _, err := booklet.Set(dir, b); err != nil {
					return err
				}
				return attendanceIn(dir, nil, b.Options, b.Paper)
			})
			return content, err
		},
		Sheet: func(b *booklet.Booklet, list io.Reader) (content []byte, err error) {
			rows, err := namesFrom(list, "list of staff", "the columns are name and role")
			if err != nil {
				return nil, refusedOn(err)
			}
			staff, err := staffIn(rows)
			if err != nil {
				return nil, refusedOn(err)
			}
			err = packed(&content, func(dir string) error { return attendanceIn(dir, staff, b.Options, b.Paper) })
			return content, err
		},
		Keep: func(ctx context.Context, lab *frame.Lab, m *accreditation.Meeting, attendance io.Reader) error {
			rows, err := namesFrom(attendance, "attendance", "the columns are name and took part")
			if err != nil {
				return refusedOn(err)
			}
			return refusedOn(recordMeeting(ctx, lab.Ledger, lab.Key, m, rows))
		},
		TakeBack: func(ctx context.Context, ledger *store.Store, w decision.Withdrawal) error {
			return decision.TakeBack(ctx, ledger, meetingKind, w)
		},
	}
}

// refusedOn tells who sent something what cannot stand of it, as a command would.
func refusedOn(err error) error {
	if _, is := errors.AsType[faults](err); is {
		return frame.Bad("This cannot stand: "+err.Error()+".", "Mend it and send it again; nothing was recorded.")
	}
	return err
}

// heldMeetings are the meetings of the ledger, in the order in which they were recorded.
func heldMeetings(ctx context.Context, ledger *store.Store) ([]meeting.Held, error) {
	all, err := decision.AllSaid[accreditation.Meeting](ctx, ledger, meetingKind)
	if err != nil {
		return nil, err
	}
	at := map[int]int{}
	var out []meeting.Held
	for _, one := range all {
		if one.Takes != nil {
			out[at[one.Takes.Withdraws]].Withdrawn = one.Takes
			continue
		}
		at[one.Place] = len(out)
		out = append(out, meeting.Held{Meeting: one.Body, Number: one.Place, At: one.At})
	}
	return out, nil
}
