package binder

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"echotally/internal/accreditation"
	"echotally/internal/printable"
	"echotally/internal/store/decision"
	"echotally/internal/trail"
	"echotally/internal/web/frame"
)

// by is the role in which the page attaches and takes back: its routes are for those who
// have it.
const by = "quality-manager"

// mostOfLine bounds what is said, in bytes.
const mostOfLine = 500

// line is something that was attached or said of a requirement.
type line struct {
	Number           int
	Kind, Text, File string
	Until            string
	By, At           string
	Back             string // by whom it was taken back, "" while it counts
}

type requirement struct {
	Set              *accreditation.Set
	Row              row
	Months           string
	Back             string // the address of all requirements
	Attach, TakeBack string // of the forms
	Lines            []line
	Where            *place // where the lab does what is counted, nil for none
	Next             *row   // that is still open, nil for none
	Today            string
}

// place is a page on which something is done.
type place struct{ Title, Path string }

// placeOf is where the lab does what a requirement counts.
func placeOf(d *accreditation.Data) *place {
	switch {
	case d == nil:
		return nil
	case d.Cases != nil, d.Readings != nil:
		return &place{"Second readings", "/readings"}
	case d.Meetings != nil:
		return &place{"Meetings", "/meetings"}
	case d.Actions:
		return &place{"Actions", "/actions"}
	case d.Measure != "":
		return &place{"Lab period", "/lab"}
	}
	return nil
}

// Requirement shows one, and the forms to show something for it.
func (p *Pages) Requirement(c *frame.Call) error {
	set, err := p.set(c.R.PathValue("set"))
	if err != nil {
		return err
	}
	b, err := p.binder(c, set)
	if err != nil {
		return err
	}
	if b.Binder == nil {
		return frame.Bad("The ledger holds no study: nothing can be shown.", "Record studies first.")
	}
	i := slices.IndexFunc(b.Rows, func(r accreditation.Row) bool { return r.Identifier == c.R.PathValue("name") })
	if i < 0 {
		return frame.ErrNotFound
	}
	at := "/binder/" + set.Identifier + "/" + b.Rows[i].Identifier
	v := &requirement{Set: set, Row: rowOf(c, set.Identifier, &b.Rows[i]), Months: b.months, Back: "/binder?set=" + set.Identifier + of(c, "&"), Attach: at + "/attach" + of(c, "?"), TakeBack: at + "/withdraw" + of(c, "?"), Where: placeOf(b.Rows[i].Data), Today: c.Now().UTC().Format(time.DateOnly)}
	for k := range b.Rows {
		r := &b.Rows[(i+1+k)%len(b.Rows)]
		if (r.Status == accreditation.NotShown || r.Status == accreditation.Partly) && r.Identifier != v.Row.Identifier {
			next := rowOf(c, set.Identifier, r)
			v.Next = &next
			break
		}
	}
	said, err := p.Said(c.R.Context(), c.Lab.Ledger)
	if err != nil {
		return err
	}
	for _, s := range said {
		if s.Set == set.Identifier && s.Requirement == v.Row.Identifier {
			v.Lines = append(v.Lines, lineOf(c, s))
		}
	}
	return c.Page(frame.View{Title: "Binder: " + v.Row.Identifier, Name: "requirement", Data: v})
}

func lineOf(c *frame.Call, s Said) line {
	l := line{Number: s.Number, Kind: "File", Text: s.Title, Until: s.Until, By: c.Person(s.Who, s.By), At: s.At.Local().Format("2006-01-02 15:04")}
	switch {
	case s.NotApplicable != "":
		l.Kind, l.Text = "Does not apply", s.NotApplicable
	case s.Statement != "":
		l.Kind, l.Text = "Statement", s.Statement
	default:
		l.File = fmt.Sprintf("%s, %s, SHA-256 %s", s.File.Name, frame.Bytes(s.File.Bytes), s.File.SHA256)
		if l.Text == "" {
			l.Text = s.File.Name
		}
	}
	if s.Withdrawn != nil {
		l.Back = c.Person(s.Withdrawn.Who, s.Withdrawn.By)
	}
	return l
}

// Attach records a file, a statement, or why the requirement does not apply.
func (p *Pages) Attach(c *frame.Call) error {
	set, err := p.set(c.R.PathValue("set"))
	if err != nil {
		return err
	}
	one := accreditation.Attachment{Set: set.Identifier, Requirement: c.R.PathValue("name"), By: by, Who: c.Who(), At: c.Now().UTC().Format(time.RFC3339)}
	if err := receive(c, &one); err != nil {
		return err
	}
	if err := one.Check(set); err != nil {
		return frame.Bad("This cannot stand: "+err.Error()+".", "Go back and mend it; nothing was recorded.")
	}
	number, err := p.Record(c.R.Context(), c.Lab.Ledger, set, one)
	if err != nil {
		return err
	}
	c.About("requirement " + one.Set + " " + one.Requirement)
	c.Did(trail.Create, fmt.Sprintf("attachment %d", number))
	return c.Go("/binder/" + one.Set + "/" + one.Requirement + of(c, "?"))
}

// receive reads the form: what a file holds is hashed as it comes and kept nowhere.
func receive(c *frame.Call, one *accreditation.Attachment) error {
	again := "Go back and send it again; nothing was recorded."
	parts, err := c.R.MultipartReader()
	if err != nil {
		return frame.Bad("Nothing was sent.", again)
	}
	fields := map[string]*string{"title": &one.Title, "until": &one.Until, "statement": &one.Statement, "not-applicable": &one.NotApplicable}
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return frame.Unsent(errors.Join(io.ErrUnexpectedEOF, err)) // whatever is wrong, it is in what was sent
		}
		to := fields[part.FormName()]
		switch {
		case part.FormName() == "file" && part.FileName() != "":
			if one.File, err = accreditation.FileOf(part.FileName(), part); err != nil {
				return frame.Unsent(err)
			}
		case to != nil:
			text, err := io.ReadAll(io.LimitReader(part, mostOfLine+1))
			if err != nil {
				return frame.Unsent(err)
			}
			if *to = strings.TrimSpace(string(text)); len(text) > mostOfLine || strings.ContainsFunc(*to, printable.Unsafe) {
				return frame.Bad(fmt.Sprintf("A text is to be one line of at most %d letters.", mostOfLine), again)
			}
		}
	}
	return nil
}

// Withdraw takes back what was attached or said; it stays in the chain of the ledger.
func (p *Pages) Withdraw(c *frame.Call) error {
	if err := c.R.ParseForm(); err != nil {
		return err
	}
	number, err := strconv.Atoi(c.R.PostForm.Get("number"))
	if err != nil {
		return frame.Bad("Nothing was chosen.", "Go back and choose what to take back.")
	}
	err = p.TakeBack(c.R.Context(), c.Lab.Ledger, decision.Withdrawal{Withdraws: number, By: by, Who: c.Who()})
	if none, is := errors.AsType[*decision.NotThere](err); is {
		none.Kind = "attachment"
		return frame.Bad("Nothing was taken back: "+none.Error()+".", "Open the requirement again; somebody else may have been quicker.")
	}
	if err != nil {
		return err
	}
	c.Did(trail.Update, fmt.Sprintf("attachment %d taken back", number))
	return c.Go("/binder/" + c.R.PathValue("set") + "/" + c.R.PathValue("name") + of(c, "?"))
}
