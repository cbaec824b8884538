package reading

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"echotally/internal/account"
	"echotally/internal/docket"
	"echotally/internal/review"
	"echotally/internal/store/decision"
	"echotally/internal/trail"
	"echotally/internal/web/frame"
)

type drawPage struct {
	*review.Draw
	Spread    string // what the cases are spread over
	Left      int    // cases that who asks has not read
	Notes     []string
	Rows      []caseRow
	Entries   []entryRow
	Read      int
	Manager   bool
	Linked    bool
	MayUndraw bool
	Sent      *sent // nil where nothing was
	Most      int64 // bytes that may be sent at a time
}

type caseRow struct {
	Number     int
	Date, Path string
	State      string // of who asks
	Done       bool
	Readers    int
}

type entryRow struct {
	Number, Rows, Cases int
	From                string
	Withdrawn           bool
}

// find gives the draw of an address, which counts, and all that was entered.
func find(c *frame.Call) (*review.Draw, []decision.Said[review.Entry], error) {
	ctx := c.R.Context()
	number, err := strconv.Atoi(c.R.PathValue("draw"))
	if err != nil {
		return nil, nil, frame.ErrNotFound
	}
	list, err := docket.Draws(ctx, c.Lab.Ledger)
	if err != nil {
		return nil, nil, err
	}
	i := slices.IndexFunc(list, func(d review.Draw) bool { return d.Number == number })
	if i < 0 {
		return nil, nil, frame.ErrNotFound
	}
	entries, err := decision.AllSaid[review.Entry](ctx, c.Lab.Ledger, docket.EntryKind)
	return &list[i], entries, err
}

// One shows a draw with its cases.
func (p *Pages) One(c *frame.Call) error { return p.one(c, nil, 0) }

func (p *Pages) one(c *frame.Call, told *sent, status int) error {
	d, entries, err := find(c)
	if err != nil {
		return err
	}
	items, err := p.Items(c.Lab.Desk().Library)
	if err != nil {
		return err
	}
	person, err := own(c)
	if err != nil {
		return err
	}
	v := &drawPage{Draw: d, Notes: notes(d), Manager: c.Session.Has(account.QualityManager), Linked: person != "", Sent: told, Most: c.Site().Upload}
	if told == nil {
		v.Sent = justSaved(c, d, entries, person)
	}
	var by []string
	for _, f := range d.By {
		by = append(by, string(f))
	}
	v.Spread = strings.Join(by, ", ")
	counted, sheet := decision.Counting(entries), d.Worksheet(items)
	for i := range d.Cases {
		at := &d.Cases[i]
		mine := newCase(d, at, sheet, entries, person)
		row := caseRow{Number: at.Number, Date: at.Date, Path: mine.path(), State: mine.state(), Done: !mine.left()}
		if mine.left() {
			v.Left++
		}
		readers := map[string]bool{}
		for _, e := range counted {
			if e.Draw == d.Number && slices.ContainsFunc(e.Rows, func(a review.Again) bool { return a.Case == at.Number }) {
				readers[e.Reader] = true
			}
		}
		row.Readers = len(readers)
		v.Rows = append(v.Rows, row)
	}
	v.Read = len(docket.ReadCases(counted, d.Number))
	v.MayUndraw = v.Manager && v.Read == 0
	if v.Manager {
		v.Entries = entryRows(d, entries)
	}
	return c.Page(frame.View{Title: fmt.Sprintf("Draw %d", d.Number), Name: "reading-draw", Data: v, Status: status})
}

func entryRows(d *review.Draw, entries []decision.Said[review.Entry]) []entryRow {
	var out []entryRow
	for _, e := range entries {
		if e.Takes == nil && e.Body.Draw == d.Number {
			out = append(out, entryRow{e.Place, len(e.Body.Rows), len(docket.ReadCases([]review.Entry{e.Body}, d.Number)), e.Body.From, e.Withdrawn})
		}
	}
	return out
}

// Undraw takes a draw back of which nothing was entered.
func (p *Pages) Undraw(c *frame.Call) error {
	d, _, err := find(c)
	if err != nil {
		return err
	}
	err = docket.Undraw(c.R.Context(), c.Lab.Ledger, d.Number, string(account.QualityManager))
	if errors.Is(err, docket.ErrEntered) {
		return frame.Bad("Something was entered of this draw: it stays.", "Entries are taken back first.")
	}
	if gone, is := errors.AsType[*decision.NotThere](err); is {
		return frame.Bad(capital(gone.Error())+".", "Look at the list of draws.")
	}
	if err != nil {
		return err
	}
	c.Did(trail.Update, fmt.Sprintf("draw %d taken back", d.Number))
	return c.Go("/readings")
}

// Withdraw takes an entry of a draw out of the figures.
func (p *Pages) Withdraw(c *frame.Call) error {
	d, entries, err := find(c)
	if err != nil {
		return err
	}
	number, err := strconv.Atoi(c.R.PathValue("number"))
	if err != nil || !slices.ContainsFunc(entries, func(e decision.Said[review.Entry]) bool {
		return e.Place == number && e.Counts() && e.Body.Draw == d.Number
	}) {
		return frame.Bad("There is no such entry of this draw.", "It may have been taken back meanwhile.")
	}
	if err := docket.Withdraw(c.R.Context(), c.Lab.Ledger, number, string(account.QualityManager)); err != nil {
		return err
	}
	c.Did(trail.Update, fmt.Sprintf("entry %d taken back", number))
	return c.Go(pathOf(d.Number) + "#entries")
}
