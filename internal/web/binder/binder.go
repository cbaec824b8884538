// Package binder owns the pages of what the lab shows to who accredits it: the status of
// each requirement, and what is attached or said of it.
package binder

import (
	"context"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"io"
	"net/url"
	"regexp"
	"slices"
	"time"

	"echotally/internal/accreditation"
	"echotally/internal/audit"
	"echotally/internal/counted"
	"echotally/internal/store"
	"echotally/internal/store/decision"
	"echotally/internal/table"
	"echotally/internal/table/words"
	"echotally/internal/web/frame"
	"echotally/internal/web/period"
)

//go:embed templates
var files embed.FS

// Templates are the pages' templates.
func Templates() frame.Templates { return frame.Templates{Files: files} }

// Said is a decision about a requirement: what was attached or said, or that it was
// taken back.
type Said struct {
	accreditation.Attachment
	At        time.Time
	Withdrawn *decision.Withdrawal // nil while it counts
}

// Documents are a binder as it leaves: the whole of it as an archive, and its pages for
// print.
type Documents struct{ Zip, PDF, Open []byte }

// Pages are the pages of the binder.
type Pages struct {
	// Sets are the sets of requirements there are.
	Sets func() ([]*accreditation.Set, error)
	// Build holds a set against what the lab has for a period.
	Build func(ctx context.Context, ledger *store.Store, set *accreditation.Set, opt audit.Options, studies []counted.Study) (*accreditation.Binder, error)
	// Write writes the binder with the audit of the same period.
	Write func(*accreditation.Binder, *audit.Report) (*Documents, error)
	// Said are the decisions about requirements, in their order.
	Said func(ctx context.Context, ledger *store.Store) ([]Said, error)
	// Record records one, and gives its number; the error says why it cannot stand.
	Record func(ctx context.Context, ledger *store.Store, set *accreditation.Set, one accreditation.Attachment) (int, error)
	// TakeBack has one count no longer; *decision.NotThere where none that counts has the number.
	TakeBack func(ctx context.Context, ledger *store.Store, w decision.Withdrawal) error
	Period   *period.Pages
}

// mark is how a status is shown: a shape and a class beside its words.
type mark struct{ Sign, Class string }

var marks = map[accreditation.Status]mark{
	accreditation.ByData: {"✓", "fine"}, accreditation.ByAttachment: {"✓", "fine"}, accreditation.Partly: {"▲", "warn"},
	accreditation.NotShown: {"■", "stop"}, accreditation.NotApplicable: {"–", "unsure"},
}

// row is a requirement as the templates get it.
type row struct {
	accreditation.Row
	mark
	Path string
}

// command is a command of the command line in brackets, which is no step on the page.
var command = regexp.MustCompile(` \(echotally [^)]*\)`)

func rowOf(c *frame.Call, set string, r *accreditation.Row) row {
	shown := *r
	shown.Gap = command.ReplaceAllString(r.Gap, "")
	return row{shown, marks[r.Status], "/binder/" + set + "/" + r.Identifier + of(c, "?")}
}

// of has an address be of the period that was chosen, "" for the one shown unasked.
func of(c *frame.Call, sign string) string {
	if name := c.R.URL.Query().Get("period"); name != "" {
		return sign + url.Values{"period": {name}}.Encode()
	}
	return ""
}

// tally is how many requirements have a status.
type tally struct {
	mark
	Status accreditation.Status
	Count  int
}

type page struct {
	Sets    []choice
	Set     *accreditation.Set // nil while none was chosen
	Months  string
	Of      string // the period chosen, as an address has it
	Periods []period.Choices
	Nothing bool // there is no study
	Tallies []tally
	Rows    []row
	Ahead   words.Words
	Tables  []words.Words
}

type choice struct {
	*accreditation.Set
	Path string
	Here bool
}

// held is a set beside what the lab has for it over the period that the address names.
type held struct {
	*accreditation.Binder // nil while there is no study
	months                string
	periods               []period.Choices
}

// binder holds the set against the studies of the period.
func (p *Pages) binder(c *frame.Call, set *accreditation.Set) (held, error) {
	opt, studies, periods, err := p.Period.Chosen(c)
	h := held{months: opt.Period.Words(), periods: periods}
	if err != nil || len(studies) == 0 {
		return h, err
	}
	h.Binder, err = p.Build(c.R.Context(), c.Lab.Ledger, set, opt, studies)
	return h, err
}

// set is the one of a name.
func (p *Pages) set(name string) (*accreditation.Set, error) {
	sets, err := p.Sets()
	if err != nil {
		return nil, err
	}
	if i := slices.IndexFunc(sets, func(s *accreditation.Set) bool { return s.Identifier == name }); i >= 0 {
		return sets[i], nil
	}
	return nil, frame.ErrNotFound
}

// List shows the requirements of a set with their status.
func (p *Pages) List(c *frame.Call) error {
	sets, err := p.Sets()
	if err != nil {
		return err
	}
	v, name := &page{Of: of(c, "?")}, c.R.URL.Query().Get("set")
	if name == "" && len(sets) == 1 {
		name = sets[0].Identifier
	}
	for _, s := range sets {
		v.Sets = append(v.Sets, choice{s, "/binder?set=" + s.Identifier + of(c, "&"), s.Identifier == name})
	}
	if name != "" {
		if v.Set, err = p.set(name); err != nil {
			return err
		}
		h, err := p.binder(c, v.Set)
		if err != nil {
			return err
		}
		v.Months, v.Periods = h.months, h.periods
		v.fill(c, h.Binder)
	}
	return c.Page(frame.View{Title: "Binder", Name: "requirements", Data: v})
}

func (v *page) fill(c *frame.Call, b *accreditation.Binder) {
	if v.Nothing = b == nil; v.Nothing {
		return
	}
	for _, s := range []accreditation.Status{accreditation.ByData, accreditation.ByAttachment, accreditation.Partly, accreditation.NotShown, accreditation.NotApplicable} {
		n := 0
		for i := range b.Rows {
			if b.Rows[i].Status == s {
				n++
			}
		}
		if n > 0 {
			v.Tallies = append(v.Tallies, tally{marks[s], s, n})
		}
	}
	for i := range b.Rows {
		v.Rows = append(v.Rows, rowOf(c, b.Set.Identifier, &b.Rows[i]))
	}
	v.Ahead = words.WordsOf(b.Ahead())
	for _, cells := range v.Ahead.Rows {
		for i := range cells {
			cells[i] = command.ReplaceAllString(cells[i], "")
		}
	}
	for _, t := range append([]table.Table{b.Files()}, b.Tables...) {
		v.Tables = append(v.Tables, words.WordsOf(t))
	}
}

// Document sends the binder as it is now.
func (p *Pages) Document(c *frame.Call) error {
	kinds := map[string]string{"binder.zip": "application/zip", "binder.pdf": "application/pdf", "open.pdf": "application/pdf"}
	name := c.R.PathValue("file")
	set, err := p.set(c.R.PathValue("set"))
	if err != nil || kinds[name] == "" {
		return frame.ErrNotFound
	}
	b, err := p.binder(c, set)
	if err != nil {
		return err
	}
	if b.Binder == nil {
		return frame.Bad("The ledger holds no study: nothing can be shown.", "Record studies first.")
	}
	report, _, err := p.Period.ChosenReport(c)
	if err != nil {
		return err
	}
	// What was said a moment ago is in it: it is kept under what it shows.
	shown, err := json.Marshal(b.Requirements())
	if err != nil {
		return err
	}
	sum := sha256.Sum256(shown)
	made, err := c.Made("binder "+set.Identifier+of(c, " ")+" "+hex.EncodeToString(sum[:]), func(context.Context) (any, error) { return p.Write(b.Binder, report) })
	if err != nil {
		return err
	}
	d := made.(*Documents)
	content := map[string][]byte{"binder.zip": d.Zip, "binder.pdf": d.PDF, "open.pdf": d.Open}[name]
	return c.Send(kinds[name], name, func(w io.Writer) error { _, err := w.Write(content); return err })
}
