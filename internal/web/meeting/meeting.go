// Package meeting owns the pages of meetings about quality: what one needs, that it was
// held, and who took part.
package meeting

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"echotally/internal/accreditation"
	"echotally/internal/audit"
	"echotally/internal/booklet"
	"echotally/internal/calendar"
	"echotally/internal/printable"
	"echotally/internal/store"
	"echotally/internal/store/decision"
	"echotally/internal/table/words"
	"echotally/internal/trail"
	"echotally/internal/web/frame"
	"echotally/internal/web/period"
)

//go:embed templates
var files embed.FS

// Templates are the pages' templates.
func Templates() frame.Templates { return frame.Templates{Files: files} }

// Held is a meeting that was recorded.
type Held struct {
	accreditation.Meeting
	Number    int // among the meetings of the ledger
	At        time.Time
	Withdrawn *decision.Withdrawal // nil while it counts
}

// Pages are the pages of meetings.
type Pages struct {
	Period *period.Pages
	// Pack is what a meeting needs about what an audit found.
	Pack func(ctx context.Context, ledger *store.Store, r *audit.Report) (*booklet.Booklet, error)
	// Write packs it, with the form of who took part.
	Write func(*booklet.Booklet) (zip []byte, err error)
	// Sheet packs the form of who took part, with the names of a list of staff.
	Sheet func(*booklet.Booklet, io.Reader) (zip []byte, err error)
	// Held are the meetings, in the order in which they were recorded.
	Held func(ctx context.Context, ledger *store.Store) ([]Held, error)
	// Keep records a meeting with its list of who took part.
	Keep func(ctx context.Context, lab *frame.Lab, m *accreditation.Meeting, attendance io.Reader) error
	// TakeBack has one count no longer; *decision.NotThere where none that counts has the number.
	TakeBack func(ctx context.Context, ledger *store.Store, w decision.Withdrawal) error
}

// by is the role in which the page takes back: its routes are for those who have it.
const by = "quality-manager"

// mostQuarters is how many quarters there are to choose.
const mostQuarters = 8

// bounds of what is sent, in bytes.
const (
	mostOfLine = 300
	mostOfList = 1 << 20
)

// command is a command of the command line in brackets, which is no step on the page.
var command = regexp.MustCompile(` \(echotally [^)]*\)`)

type choice struct {
	Name, Title string
	Here        bool
}

type line struct {
	Number                         int
	Date, Title, Minutes, At, Back string
	Present, Read                  int
}

type page struct {
	Quarters []choice
	Name     string // of the quarter, "" where no study is
	Title    string
	Agenda   []booklet.Passage
	Tables   []words.Words
	Lines    []line
	Today    string
}

// quarters are those with studies, the latest first.
func quarters(c *frame.Call) ([]calendar.Period, error) {
	stats, err := c.Lab.Statistics(c.R.Context())
	if err != nil {
		return nil, err
	}
	held, err := calendar.Between(stats.First, stats.Last)
	if err != nil {
		return nil, nil // it holds no dated study
	}
	var out []calendar.Period
	for at := held.To; !at.Before(held.From.AddDate(0, -3, 0)) && len(out) < mostQuarters; at = time.Date(at.Year(), at.Month()-3, 1, 0, 0, 0, 0, time.UTC) {
		q, err := calendar.Quarter(fmt.Sprintf("%d-Q%d", at.Year(), (int(at.Month())+2)/3))
		if err != nil {
			return nil, err
		}
		if q.To.Before(held.From) {
			break
		}
		out = append(out, q)
	}
	return out, nil
}

// pack is what a meeting about a quarter needs, nil where it has no study.
func (p *Pages) pack(c *frame.Call, of calendar.Period) (*booklet.Booklet, error) {
	r, err := p.Period.ReportOf(c, of)
	if err != nil || r.Received == 0 {
		return nil, err
	}
	return p.Pack(c.R.Context(), c.Lab.Ledger, r)
}

// List shows what a meeting needs and which were held.
func (p *Pages) List(c *frame.Call) error {
	all, err := quarters(c)
	if err != nil {
		return err
	}
	v := &page{Today: c.Now().UTC().Format(time.DateOnly)}
	at := slices.IndexFunc(all, func(q calendar.Period) bool { return q.Name == c.R.URL.Query().Get("quarter") })
	for i, q := range all {
		v.Quarters = append(v.Quarters, choice{q.Name, strings.Replace(q.Name, "-", " ", 1), i == max(at, 0)})
	}
	if len(all) > 0 {
		of := all[max(at, 0)]
		b, err := p.pack(c, of)
		if err != nil {
			return err
		}
		if b != nil {
			v.Name, v.Title, v.Agenda = of.Name, of.Words(), b.Front
			for _, part := range v.Agenda {
				for i, l := range part.Lines {
					part.Lines[i] = command.ReplaceAllString(l, "")
				}
			}
			for _, t := range b.Tables {
				v.Tables = append(v.Tables, words.WordsOf(t))
			}
		}
	}
	held, err := p.Held(c.R.Context(), c.Lab.Ledger)
	if err != nil {
		return err
	}
	for _, h := range held {
		l := line{Number: h.Number, Date: h.Date, Title: h.Title, At: h.At.Local().Format("2006-01-02 15:04"), Present: len(h.Present), Read: len(h.Informed)}
		if h.Minutes != nil {
			l.Minutes = fmt.Sprintf("%s, %s, SHA-256 %s", h.Minutes.Name, frame.Bytes(h.Minutes.Bytes), h.Minutes.SHA256)
		}
		if h.Withdrawn != nil {
			l.Back = c.Person(h.Withdrawn.Who, h.Withdrawn.By)
		}
		v.Lines = append(v.Lines, l)
	}
	slices.SortStableFunc(v.Lines, func(a, b line) int { return strings.Compare(b.Date, a.Date) })
	return c.Page(frame.View{Title: "Meetings", Name: "meetings", Data: v})
}

// Document sends the pack of a quarter.
func (p *Pages) Document(c *frame.Call) error {
	of, err := calendar.Quarter(c.R.PathValue("quarter"))
	name := c.R.PathValue("file")
	if err != nil || name != "meeting.zip" && name != "meeting.pdf" {
		return frame.ErrNotFound
	}
	b, err := p.pack(c, of)
	if err != nil {
		return err
	}
	if b == nil {
		return frame.ErrNotFound
	}
	if name == "meeting.pdf" {
		return c.Send("application/pdf", name, func(w io.Writer) error { return booklet.PDF(w, b) })
	}
	content, err := p.Write(b)
	if err != nil {
		return err
	}
	return c.Send("application/zip", name, func(w io.Writer) error { _, err := w.Write(content); return err })
}

// received is what a form brought: its texts, the list in it, and the minutes by hash.
type received struct {
	fields  map[string]string
	list    []byte
	minutes *accreditation.File
}

func receive(c *frame.Call) (*received, error) {
	const again = "Go back and send it again; nothing was recorded."
	out := &received{fields: map[string]string{}}
	parts, err := c.R.MultipartReader()
	if err != nil {
		return nil, frame.Bad("Nothing was sent.", again)
	}
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return nil, frame.Unsent(errors.Join(io.ErrUnexpectedEOF, err)) // whatever is wrong, it is in what was sent
		}
		switch name := part.FormName(); {
		case name == "minutes" && part.FileName() != "":
			out.minutes, err = accreditation.FileOf(part.FileName(), part)
		case name == "list":
			out.list, err = io.ReadAll(io.LimitReader(part, mostOfList+1))
		default:
			var text []byte
			text, err = io.ReadAll(io.LimitReader(part, mostOfLine+1))
			out.fields[name] = strings.TrimSpace(string(text))
		}
		if err != nil {
			return nil, frame.Unsent(err)
		}
		if len(out.list) > mostOfList {
			return nil, frame.Bad("That is no list of names: it is larger than 1 MB.", again)
		}
	}
}

// Attendance sends the form of who took part with the names of a list, which is kept nowhere.
func (p *Pages) Attendance(c *frame.Call) error {
	of, err := calendar.Quarter(c.R.PathValue("quarter"))
	if err != nil {
		return frame.ErrNotFound
	}
	sent, err := receive(c)
	if err != nil {
		return err
	}
	b, err := p.pack(c, of)
	if frame.BeingMade(err) {
		return frame.Bad("The quarter is being counted.", "Open the page of meetings and send the list once more.")
	}
	if err != nil {
		return err
	}
	if b == nil {
		return frame.ErrNotFound
	}
	content, err := p.Sheet(b, strings.NewReader(string(sent.list)))
	if err != nil {
		return err
	}
	return c.Send("application/zip", "attendance.zip", func(w io.Writer) error { _, err := w.Write(content); return err })
}

// Record records that a meeting was held.
func (p *Pages) Record(c *frame.Call) error {
	sent, err := receive(c)
	if err != nil {
		return err
	}
	m := accreditation.Meeting{Date: sent.fields["date"], Title: sent.fields["title"], Minutes: sent.minutes}
	at, err := time.Parse(time.DateOnly, m.Date)
	switch {
	case err != nil || at.After(c.Now()):
		return frame.Bad("The date is no day that has been.", "Go back and give the day on which the meeting was held.")
	case m.Title == "" || len(m.Title) > mostOfLine || strings.ContainsFunc(m.Title, printable.Unsafe):
		return frame.Bad(fmt.Sprintf("A meeting needs a title, one line of at most %d letters.", mostOfLine), "Go back and say what it was.")
	case len(sent.list) == 0:
		return frame.Bad("Nobody is said to have taken part.", "Go back and choose the attendance list that was filled in.")
	}
	if err := p.Keep(c.R.Context(), c.Lab, &m, strings.NewReader(string(sent.list))); err != nil {
		return err
	}
	c.Did(trail.Create, "meeting of "+m.Date+" recorded")
	return c.Go("/meetings#held")
}

// Withdraw takes back a meeting that was recorded by mistake.
func (p *Pages) Withdraw(c *frame.Call) error {
	if err := c.R.ParseForm(); err != nil {
		return err
	}
	number, err := strconv.Atoi(c.R.PostForm.Get("number"))
	if err != nil {
		return frame.Bad("Nothing was chosen.", "Go back and choose the meeting to take back.")
	}
	err = p.TakeBack(c.R.Context(), c.Lab.Ledger, decision.Withdrawal{Withdraws: number, By: by, Who: c.Who()})
	if none, is := errors.AsType[*decision.NotThere](err); is {
		none.Kind = "meeting"
		return frame.Bad("Nothing was taken back: "+none.Error()+".", "Open the page again; somebody else may have been quicker.")
	}
	if err != nil {
		return err
	}
	c.Did(trail.Update, fmt.Sprintf("meeting %d taken back", number))
	return c.Go("/meetings#held")
}
