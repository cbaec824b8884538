package reading

import (
	"errors"
	"fmt"
	"net/http"
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

// one is a case for one reader: what was entered of it, and what is open.
type one struct {
	draw    *review.Draw
	of      *review.Case
	open    []review.Row // not entered yet
	entered []entered
}

// entered is an entry as far as it is of the case.
type entered struct {
	review.Entry
	number    int
	withdrawn bool
}

// newCase tells what a reader, by pseudonym, has entered of a case, of the rows of the
// draw's worksheet. What was taken back stays entered: by then what was reported has been
// seen.
func newCase(d *review.Draw, of *review.Case, sheet []review.Row, all []decision.Said[review.Entry], reader string) *one {
	c := &one{draw: d, of: of}
	known := map[string]bool{}
	for _, e := range all {
		if e.Takes != nil || e.Body.Draw != d.Number || e.Body.Reader != reader || reader == "" {
			continue
		}
		part := e.Body
		part.Rows = nil
		for _, a := range e.Body.Rows {
			if a.Case == of.Number {
				part.Rows, known[a.Item] = append(part.Rows, a), true
			}
		}
		if len(part.Rows) > 0 {
			c.entered = append(c.entered, entered{part, e.Place, e.Withdrawn})
		}
	}
	for _, r := range sheet {
		if r.Case == of.Number && !known[r.Item] {
			c.open = append(c.open, r)
		}
	}
	return c
}

func (c *one) left() bool   { return len(c.entered) == 0 }
func (c *one) path() string { return pathOf(c.draw.Number) + "/" + strconv.Itoa(c.of.Number) }

func (c *one) state() string {
	switch {
	case c.left():
		return "not read by you"
	case len(c.open) > 0:
		return fmt.Sprintf("read by you, %d left open", len(c.open))
	}
	return "read by you"
}

type casePage struct {
	Draw, Number, Cases int
	Path, Back, Next    string
	Date, UID           string
	Names, MayName      bool
	Name, ID, Accession string
	Linked              bool
	Measured, Graded    []field
	Open                int
	Faults              []field
	Other               string // what was not recorded for no fault of a field
	Saved               []saved
	Sheet               string // of the gap sheet, once nothing is left open
	NotMeasurable       string
	Partial             bool
}

// field is one thing to be measured or graded again, with what was typed.
type field struct {
	ID, Name, Title, How, Unit string
	Scale                      []string
	Value, Wrong, Hint         string
}

// saved is an entry beside what was reported.
type saved struct {
	Number    int
	Withdrawn bool
	Lines     []review.Line
}

// Case shows a case to be read again; what was reported is shown beside what this
// reader has saved, and nothing else of it.
func (p *Pages) Case(c *frame.Call) error {
	of, items, err := p.find(c)
	if err != nil {
		return err
	}
	return p.show(c, of, items, nil, nil, "", 0)
}

// find gives the case of an address for who asks.
func (p *Pages) find(c *frame.Call) (*one, *review.Items, error) {
	d, entries, err := find(c)
	if err != nil {
		return nil, nil, err
	}
	number, _ := strconv.Atoi(c.R.PathValue("case"))
	of := d.Find(number)
	if of == nil {
		return nil, nil, frame.ErrNotFound
	}
	c.About(of.Study)
	items, err := p.Items(c.Lab.Desk().Library)
	if err != nil {
		return nil, nil, err
	}
	person, err := own(c)
	if err != nil {
		return nil, nil, err
	}
	return newCase(d, of, d.Worksheet(items), entries, person), items, nil
}

func (p *Pages) show(c *frame.Call, of *one, items *review.Items, typed map[string]string, faults []review.RowFault, other string, status int) error {
	person, err := own(c)
	if err != nil {
		return err
	}
	d := of.draw
	v := &casePage{
		Draw: d.Number, Number: of.of.Number, Cases: len(d.Cases), Path: of.path(), Back: pathOf(d.Number), Date: of.of.Date, UID: of.of.Study, Linked: person != "",
		MayName: c.Session.Has(account.Sonographer, account.Reader), Other: other, Open: len(of.open), NotMeasurable: review.NotMeasurable, Partial: len(of.entered) > 0,
	}
	if v.Linked {
		v.fields(of.open, typed, faults)
	}
	for _, e := range of.entered {
		v.Saved = append(v.Saved, saved{e.number, e.withdrawn, d.Beside(items, e.Entry)})
	}
	if len(of.entered) > 0 && len(of.open) == 0 {
		v.Sheet = c.Lab.Study(of.of.Study)
	}
	if of.of.Number < len(d.Cases) {
		v.Next = pathOf(d.Number) + "/" + strconv.Itoa(of.of.Number+1)
	}
	if v.Names = v.MayName && c.R.URL.Query().Get("names") != ""; v.Names {
		c.As(trail.PatientRecord)
		who, err := c.Lab.Ledger.Identity(c.R.Context(), of.of.Study)
		if err != nil {
			return err
		}
		v.Name = strings.Join(strings.FieldsFunc(who.PatientName.Reveal(), func(r rune) bool { return r == '^' || r == '=' }), " ")
		v.ID, v.Accession = who.PatientID.Reveal(), who.AccessionNumber.Reveal()
	}
	return c.Page(frame.View{Title: fmt.Sprintf("Case %d of draw %d", of.of.Number, d.Number), Name: "reading-case", Data: v, Status: status})
}

// fields are the rows that are open, with what was typed and what cannot stand of it.
func (v *casePage) fields(open []review.Row, typed map[string]string, faults []review.RowFault) {
	for _, r := range open {
		f := field{ID: "v-" + r.Item, Name: r.Item, Title: strings.TrimPrefix(r.Title, "Grade: "), How: r.How, Unit: r.Unit, Scale: r.Scale, Value: typed[r.Item]}
		for _, fault := range faults {
			if fault.Item == r.Item {
				f.Wrong, f.Hint = fault.Reason, fault.Hint
			}
		}
		if f.Wrong != "" {
			v.Faults = append(v.Faults, f)
		}
		if len(r.Scale) > 0 {
			v.Graded = append(v.Graded, f)
		} else {
			v.Measured = append(v.Measured, f)
		}
	}
}

// Enter saves what a reader found in a case.
func (p *Pages) Enter(c *frame.Call) error {
	of, items, err := p.find(c)
	if err != nil {
		return err
	}
	person, err := own(c)
	if err != nil {
		return err
	}
	if person == "" {
		return frame.Bad("It is not known which member of staff you are.", "A quality manager says so under People; then enter it again.")
	}
	if err := c.R.ParseForm(); err != nil {
		return err
	}
	typed := map[string]string{}
	rows := slices.Clone(of.open)
	for i := range rows {
		typed[rows[i].Item] = c.R.PostForm.Get(rows[i].Item)
		rows[i].Value = typed[rows[i].Item]
	}
	done, err := docket.Enter(c.R.Context(), c.Lab.Ledger, items, of.draw, review.Entry{Reader: person, From: "page"}, rows, false)
	switch {
	case errors.Is(err, docket.ErrNothing) && len(done.Faults) == 0:
		return p.show(c, of, items, typed, nil, "Nothing was filled in, and nothing was saved.", http.StatusUnprocessableEntity)
	case errors.Is(err, docket.ErrNothing), errors.Is(err, docket.ErrNotAll):
		return p.show(c, of, items, typed, done.Faults, "", http.StatusUnprocessableEntity)
	case err != nil:
		return err
	}
	c.Did(trail.Create, fmt.Sprintf("second reading, entry %d", done.Number))
	return c.Go(of.path())
}
