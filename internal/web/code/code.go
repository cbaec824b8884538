// Package code owns the page of codes that no measurand file names: what they most
// likely mean, and how the lab says what they do mean.
package code

import (
	"context"
	"embed"
	"fmt"
	"io/fs"
	"slices"
	"strings"
	"time"
	"unicode"

	"echotally/internal/echo"
	"echotally/internal/layout"
	"echotally/internal/library"
	"echotally/internal/library/draft"
	"echotally/internal/measurand"
	"echotally/internal/measurand/unmatched"
	"echotally/internal/store"
	"echotally/internal/store/decision"
	"echotally/internal/trail"
	"echotally/internal/web/frame"
	"echotally/internal/web/period"
	"echotally/internal/writer"
)

//go:embed templates
var files embed.FS

// Templates are the pages' templates.
func Templates() frame.Templates { return frame.Templates{Files: files} }

// Pages is the page of codes.
type Pages struct {
	// Load gives what reports are read by, with further layers over it.
	Load func(library.Settings, ...fs.FS) (*library.Library, error)
	// Renew has reports read by what lies in the folders now. On a fault what was read
	// by before stays in force.
	Renew func() error
	// Site is the folder of the lab's own files, "" for none.
	Site   string
	Period *period.Pages
}

// suggested is how many measurands are suggested for a code.
const suggested = 3

// met are the codes of the last twelve months that no measurand file names.
type met struct {
	codes   []unmatched.Code
	keys    []string
	studies int // looked through
	months  string
}

func (p *Pages) met(c *frame.Call) (*met, error) {
	opt, _, err := p.Period.Lately(c)
	if err != nil {
		return nil, err
	}
	lab := c.Lab
	out, err := c.Made("codes "+opt.Period.Name, func(ctx context.Context) (any, error) {
		lib := lab.Desk().Library
		found, tally := &met{months: opt.Period.Words()}, unmatched.NewTally(lib.Measurands)
		var room echo.Study
		for s, err := range lab.Ledger.CountedStudies(ctx, store.Period{From: opt.Period.From, To: opt.Period.To}, store.Filter{}, lib.Digest, "") {
			if err != nil {
				return nil, err
			}
			study, err := s.RebuildOver(&room, nil)
			if err != nil {
				return nil, err
			}
			if study != nil {
				found.studies++
				tally.Add(study.Measurements)
			}
		}
		// What was named since is not asked for again: those studies were read before.
		found.codes = slices.DeleteFunc(tally.Codes(suggested), func(u unmatched.Code) bool { return lib.Measurands.Name(&u.Example) != nil })
		for i := range found.codes {
			m := &found.codes[i].Example
			found.keys = append(found.keys, lab.Key.Opaque(fmt.Sprintf("code %v %v", m.ConceptName, facts(m))))
		}
		return found, nil
	})
	if err != nil {
		return nil, err
	}
	return out.(*met), nil
}

// row is a code in the list.
type row struct {
	Key, Meaning, Code, Example string
	Count                       int
	Facts                       []string
	Options                     []option
}

type option struct{ Identifier, Title, Sure, Why string }

type page struct {
	Rows       []row
	Studies    int
	Months     string
	Site       bool
	Measurands []option
}

// facts are what tells a code's quantity from others.
func facts(m *echo.Measurement) []string {
	var out []string
	for _, f := range writer.CodeFields() {
		if mod := measurand.ModifierOf(&m.Modifiers, f); mod != nil {
			out = append(out, spaced(string(f))+": "+mod.Concept.CodeMeaning)
		}
	}
	return out
}

// spaced writes findingSite as finding site.
func spaced(name string) string {
	var b strings.Builder
	for _, r := range name {
		if unicode.IsUpper(r) {
			b.WriteByte(' ')
		}
		b.WriteRune(unicode.ToLower(r))
	}
	return b.String()
}

// List shows the codes.
func (p *Pages) List(c *frame.Call) error {
	found, err := p.met(c)
	if err != nil {
		return err
	}
	v := &page{Studies: found.studies, Months: found.months, Site: p.Site != ""}
	for i := range found.codes {
		u := &found.codes[i]
		m := &u.Example
		r := row{Key: found.keys[i], Meaning: layout.OrElse(m.ConceptName.CodeMeaning, "no meaning given"), Code: m.ConceptName.CodingSchemeDesignator + ": " + m.ConceptName.CodeValue,
			Example: writer.Written(m), Count: u.Count, Facts: facts(m)}
		for _, f := range [][2]string{{"label", m.ShortLabel}, {"section", m.Section}, {"made by", m.Equipment.Manufacturer}} {
			if f[1] != "" {
				r.Facts = append(r.Facts, f[0]+": "+f[1])
			}
		}
		for _, s := range u.Suggestions {
			r.Options = append(r.Options, option{s.Measurand.Identifier, s.Measurand.Title, string(s.Confidence), s.Why})
		}
		v.Rows = append(v.Rows, r)
	}
	for _, m := range c.Lab.Desk().Library.Measurands.Measurands {
		v.Measurands = append(v.Measurands, option{Identifier: m.Identifier, Title: m.Title})
	}
	return c.Page(frame.View{Title: "Codes", Name: "codes", Data: v})
}

// chosen are the codes with what was chosen for them.
func (p *Pages) chosen(c *frame.Call) ([]unmatched.Code, error) {
	if err := c.R.ParseForm(); err != nil {
		return nil, err
	}
	found, err := p.met(c)
	if err != nil {
		return nil, err
	}
	known := c.Lab.Desk().Library.Measurands
	var out []unmatched.Code
	for i, u := range found.codes {
		name := strings.TrimSpace(c.R.PostForm.Get("other-" + found.keys[i]))
		if name == "" {
			name = c.R.PostForm.Get("means-" + found.keys[i])
		}
		if name == "" {
			continue
		}
		m := known.Find(name)
		if m == nil {
			return nil, frame.Bad("There is no measurand "+name+".", "Choose one of the list.")
		}
		one, why := u, "chosen by the lab"
		if k := slices.IndexFunc(u.Suggestions, func(s measurand.Suggestion) bool { return s.Measurand == m }); k >= 0 {
			why = u.Suggestions[k].Why
		}
		one.Suggestions = []measurand.Suggestion{{Measurand: m, Score: 1, Confidence: measurand.Sure, Why: why}}
		out = append(out, one)
	}
	return out, nil
}

type settled struct {
	Text, File string
	InForce    bool // reports are read by it from now on
	Rows       []row
	Values     int
}

// Settle writes what was chosen to a file of the lab's own folder, once reports can be
// read with it.
func (p *Pages) Settle(c *frame.Call) error {
	list, err := p.chosen(c)
	if frame.BeingMade(err) {
		return frame.Bad("The codes are being counted.", "Open the page again and send the form once more; nothing was written.")
	}
	if err != nil {
		return err
	}
	if len(list) == 0 {
		return frame.Bad("Nothing was chosen.", "Choose for at least one code what it means.")
	}
	var b strings.Builder
	if err := unmatched.DraftSite(c.Lab.Desk().Library.Measurands, &b, list); err != nil {
		return err
	}
	_, text, _ := strings.Cut(b.String(), "\n\n") // the head says how to choose by hand
	text = "# Named on the page of codes, " + c.Now().UTC().Format(time.DateOnly) + ".\n\n" + strings.ReplaceAll(text, "\n# - ", "\n- ")
	draft := draft.Draft{Name: "measurand/codes-" + c.Now().UTC().Format("20060102-150405") + ".yaml", Text: text}
	layer, err := draft.Layer()
	if err != nil {
		return err
	}
	if _, err := p.Load(library.Settings{NoExamples: true}, layer); err != nil {
		return frame.Bad("Reports cannot be read with this: "+err.Error(), "Choose otherwise; nothing was written.")
	}
	v, said := &settled{Text: text}, Naming{File: draft.Name, Who: c.Who(), Roles: c.Roles()}
	for i, u := range list {
		said.add(&list[i])
		v.Values += u.Count
		v.Rows = append(v.Rows, row{Meaning: layout.OrElse(u.Example.ConceptName.CodeMeaning, "no meaning given"), Count: u.Count, Options: []option{{Title: u.Suggestions[0].Measurand.Title}}})
	}
	if p.Site != "" && !c.Lab.Demo {
		if _, err := c.Lab.Ledger.Decide(c.R.Context(), namingKind, func([]decision.Decision) (any, error) { return said, nil }); err != nil {
			return err
		}
		if err := draft.Keep(p.Site); err != nil {
			return err
		}
		v.File = draft.Name
		if err := p.Renew(); err != nil {
			c.Failed(err) // Health says so
		} else {
			v.InForce = true
		}
	}
	c.Did(trail.Create, fmt.Sprintf("%d codes named", len(list)))
	return c.Page(frame.View{Title: "Codes named", Name: "codes-named", Data: v})
}
