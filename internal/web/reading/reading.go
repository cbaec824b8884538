// Package reading owns the pages of second readings: cases are drawn, each is read
// again without seeing what was reported, and only what was saved is shown beside it.
//
// What is drawn, what of an entry can stand, and how it is kept is said by docket and
// review; nothing is decided here.
package reading

import (
	"embed"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"
	"unicode"

	"echotally/internal/account"
	"echotally/internal/calendar"
	"echotally/internal/docket"
	"echotally/internal/library"
	"echotally/internal/review"
	"echotally/internal/staff"
	"echotally/internal/store/decision"
	"echotally/internal/trail"
	"echotally/internal/web/frame"
	"echotally/internal/web/period"
)

//go:embed templates
var files embed.FS

// Templates are the pages' templates.
func Templates() frame.Templates { return frame.Templates{Files: files} }

// Pages are the pages of second readings.
type Pages struct {
	// Items are what is measured and graded again, by the lab's own files.
	Items func(*library.Library) (*review.Items, error)

	sending sync.Mutex // one at a time: reports are read by all processors
}

type listPage struct {
	Manager bool
	Linked  bool // the account is a member of staff
	Draws   []drawRow
	Form    form
	Tried   *tried
	Entered bool // something was read again, so that there are results
	Size    size
}

type drawRow struct {
	Number             int
	Path, Period, Seed string
	Lab                string // "" for all
	Cases, Frame, Read int
	Left               int    // cases that who asks has not read
	Back               string // who took it back, as a role; "" when it counts
}

// form is the form to draw, as it was filled in.
type form struct {
	Periods         []period.Choices
	First, Last     string // days in place of a period of the list
	Labs            []period.Option
	Quota, Seed     string
	By              []factor
	lab             string
	Wrong, Hint, At string // what cannot stand, and the field it is said of
}

type factor struct {
	Name   string
	Chosen bool
}

// tried is a draw that was not recorded.
type tried struct {
	Seed         string
	Cases, Frame int
	Period, Lab  string
	Notes        []string
}

// List shows the draws, and to a quality manager the form to draw.
func (p *Pages) List(c *frame.Call) error {
	return p.list(c, form{Quota: "8"}, "", nil, 0)
}

func (p *Pages) list(c *frame.Call, f form, chosen string, t *tried, status int) error {
	ctx := c.R.Context()
	person, err := own(c)
	if err != nil {
		return err
	}
	draws, err := decision.AllSaid[review.Draw](ctx, c.Lab.Ledger, docket.DrawKind)
	if err != nil {
		return err
	}
	entries, err := decision.AllSaid[review.Entry](ctx, c.Lab.Ledger, docket.EntryKind)
	if err != nil {
		return err
	}
	v := &listPage{Manager: c.Session.Has(account.QualityManager), Linked: person != "", Tried: t, Form: f}
	counted := decision.Counting(entries)
	for i := range draws {
		d := &draws[i].Body
		if draws[i].Takes != nil {
			continue
		}
		row := drawRow{Number: d.Number, Path: pathOf(d.Number), Period: d.Period, Seed: d.Seed, Lab: d.Lab, Cases: len(d.Cases), Frame: d.Eligible(), Read: len(docket.ReadCases(counted, d.Number))}
		if draws[i].Withdrawn {
			row.Back = takenBackBy(draws, draws[i].Place)
		}
		for _, at := range d.Cases {
			if newCase(d, &at, nil, entries, person).left() {
				row.Left++
			}
		}
		v.Entered = v.Entered || row.Read > 0 && row.Back == ""
		v.Draws = append(v.Draws, row)
	}
	slices.Reverse(v.Draws)
	if v.Manager {
		v.Size = sizeOf(c.R.URL.Query())
		if err := v.Form.fill(c, chosen); err != nil {
			return err
		}
	}
	return c.Page(frame.View{Title: "Second readings", Name: "readings", Data: v, Status: status})
}

// fill says what there is to choose from.
func (f *form) fill(c *frame.Call, chosen string) error {
	held, err := period.Held(c)
	if err != nil {
		return err
	}
	if chosen == "" && held != nil {
		_, quarters, months := held.Spans()
		for _, names := range [][]string{months, quarters} {
			if len(names) > 0 {
				chosen = names[0]
			}
		}
	}
	if f.Periods = period.Spans(chosen, held); f.First+f.Last != "" {
		f.Periods = period.Spans("", held)
	}
	labs, err := c.Lab.Ledger.Labs(c.R.Context())
	if err != nil {
		return err
	}
	if len(labs) > 1 {
		for _, name := range labs {
			f.Labs = append(f.Labs, period.Option{Value: name, Text: name, Chosen: name == f.lab})
		}
	}
	if len(f.By) == 0 {
		f.By = factors(nil)
	}
	return nil
}

func factors(chosen []string) []factor {
	var out []factor
	for _, one := range review.Factors() {
		out = append(out, factor{string(one), slices.Contains(chosen, string(one))})
	}
	return out
}

func takenBackBy(all []decision.Said[review.Draw], place int) string {
	for _, one := range all {
		if one.Takes != nil && one.Takes.Withdraws == place {
			return strings.ReplaceAll(one.Takes.By, "-", " ")
		}
	}
	return ""
}

func pathOf(draw int) string { return "/readings/" + strconv.Itoa(draw) }

// own is who asks as a member of staff, by pseudonym, "" for nobody.
func own(c *frame.Call) (string, error) {
	return staff.Of(c.R.Context(), c.Lab.Ledger, c.Lab.Key, c.Name())
}

// mostOfSeed bounds a seed, in bytes.
const mostOfSeed = 100

// Draw draws cases, or tries what would be drawn.
func (p *Pages) Draw(c *frame.Call) error {
	if err := c.R.ParseForm(); err != nil {
		return err
	}
	sent := c.R.PostForm
	f := form{First: sent.Get("first"), Last: sent.Get("last"), lab: sent.Get("lab"), Quota: strings.TrimSpace(sent.Get("quota")), Seed: strings.TrimSpace(sent.Get("seed")), By: factors(sent["by"])}
	chosen := sent.Get("period")
	if f.First+f.Last != "" { // they win over the list above them
		chosen = f.First + " to " + f.Last
	}
	refuse := func(at, reason, hint string) error {
		f.At, f.Wrong, f.Hint = at, reason, hint
		return p.list(c, f, chosen, nil, http.StatusUnprocessableEntity)
	}
	o := docket.Order{Seed: f.Seed, Software: c.Site().Software}
	var err error
	if o.Period, err = calendar.ParsePeriod(chosen); err != nil {
		return refuse("period", "This is no period.", "Choose one of the list, or a first and a last day that is not before it.")
	}
	if labs, err := c.Lab.Ledger.Labs(c.R.Context()); err != nil || f.lab != "" && !slices.Contains(labs, f.lab) {
		return errors.Join(err, refuse("lab", "There is no such lab.", "Choose one of the list."))
	}
	o.Lab = f.lab
	if o.Quota, err = strconv.Atoi(f.Quota); err != nil || o.Quota < 1 {
		return refuse("quota", "How many cases are to be drawn is not said.", "A number from 1 on.")
	}
	var wrong string
	if o.By, wrong = review.FactorsOf(sent["by"]); wrong != "" {
		return refuse("by", "Cases cannot be spread over this.", "Choose of the list.")
	}
	if len(o.Seed) > mostOfSeed || strings.ContainsFunc(o.Seed, func(r rune) bool { return !unicode.IsPrint(r) }) {
		return refuse("seed", "This seed cannot be used.", "Letters, digits and marks on one line, 100 at most.")
	}
	set := c.Lab.Desk().Library // one and the same, also when another comes in force meanwhile
	items, err := p.Items(set)
	if err != nil {
		return err
	}
	try := sent.Get("do") == "try"
	d, err := docket.Draw(c.R.Context(), c.Lab.Ledger, set, items, o, try)
	switch _, refused := errors.AsType[*docket.Refused](err); {
	case refused:
		return refuse("period", capital(err.Error())+".", "Choose another period.")
	case errors.Is(err, docket.ErrMeanwhile):
		return refuse("do", capital(err.Error())+".", "Look at the list, then draw again.")
	case err != nil:
		return err
	case try:
		c.Did(trail.Read, "draw tried")
		f.Seed = d.Seed
		return p.list(c, f, chosen, &tried{d.Seed, len(d.Cases), d.Eligible(), d.Period, d.Lab, notes(d)}, 0)
	}
	c.Did(trail.Create, fmt.Sprintf("draw %d", d.Number))
	return c.Go(pathOf(d.Number))
}

// notes say what was left out of a draw, and what the quota does not reach.
func notes(d *review.Draw) []string {
	var out []string
	for _, e := range d.Exclusions() {
		out = append(out, fmt.Sprintf("Left out: %d, %s.", e.Count, e.Reason))
	}
	if short := d.Shortage(); short != "" {
		out = append(out, "Short of what was asked for: "+short+".")
	}
	return out
}

func capital(text string) string { return strings.ToUpper(text[:1]) + text[1:] }
