// Package docket owns what becomes of draws and second readings in the ledger: cases
// are drawn, what is read again is entered, and both can be taken back.
//
// What a draw is, and what of an entry can stand, is said by review.
package docket

import (
	"context"
	"errors"
	"slices"

	"echotally/internal/review"
	"echotally/internal/store"
	"echotally/internal/store/decision"
)

// Kinds of decisions of peer review in the ledger.
const (
	DrawKind  = "draw"
	EntryKind = "second reading"
)

// Reasons for which something is not recorded.
var (
	ErrMeanwhile = errors.New("somebody else recorded one at the same moment")
	ErrNothing   = errors.New("nothing was entered: every row has a fault")
	ErrNotAll    = errors.New("nothing was recorded: some rows cannot stand")
	ErrEntered   = errors.New("something was entered of the draw")
)

// Draws are those of the ledger that count, in order.
func Draws(ctx context.Context, s *store.Store) ([]review.Draw, error) {
	return decision.Standing[review.Draw](ctx, s, DrawKind)
}

// Entries are what second readers entered and was not withdrawn.
func Entries(ctx context.Context, s *store.Store) ([]review.Entry, error) {
	return decision.Standing[review.Entry](ctx, s, EntryKind)
}

// ReadCases are the numbers of the cases of a draw that somebody entered something of.
func ReadCases(read []review.Entry, draw int) []int {
	var out []int
	for _, e := range read {
		for _, row := range e.Rows {
			if e.Draw == draw && !slices.Contains(out, row.Case) {
				out = append(out, row.Case)
			}
		}
	}
	return out
}

// Entered is what came of entering.
type Entered struct {
	Entry  review.Entry
	Faults []review.RowFault // of the rows that were not taken
	Number int               // of the entry, by which it is taken back
}

// Enter records what of the rows can stand. Where some cannot, nothing is recorded
// unless they may be taken in part: the error is ErrNotAll, or ErrNothing where none
// can, and the faults say why.
func Enter(ctx context.Context, s *store.Store, items *review.Items, d *review.Draw, e review.Entry, rows []review.Row, partly bool) (Entered, error) {
	var out Entered
	_, err := s.Decide(ctx, EntryKind, func(known []decision.Decision) (any, error) {
		before, err := decision.SaidOf[review.Entry](known)
		if err != nil {
			return nil, err
		}
		out.Entry, out.Faults = d.Enter(items, decision.EverSaid(before), e, rows)
		out.Number = len(before) + 1
		switch {
		case len(out.Entry.Rows) == 0:
			return nil, ErrNothing
		case len(out.Faults) > 0 && !partly:
			return nil, ErrNotAll
		}
		return out.Entry, nil
	})
	return out, err
}

// Undraw takes a draw back of which nothing was entered: its cases may be drawn again.
// The error is ErrEntered, or a *decision.NotThere.
func Undraw(ctx context.Context, s *store.Store, number int, by string) error {
	read, err := Entries(ctx, s)
	if err != nil {
		return err
	}
	if slices.ContainsFunc(read, func(e review.Entry) bool { return e.Draw == number }) {
		return ErrEntered
	}
	return decision.TakeBack(ctx, s, DrawKind, decision.Withdrawal{Withdraws: number, By: by})
}

// Withdraw takes an entry out of all figures; the error may be a *decision.NotThere.
func Withdraw(ctx context.Context, s *store.Store, number int, by string) error {
	return decision.TakeBack(ctx, s, EntryKind, decision.Withdrawal{Withdraws: number, By: by})
}
