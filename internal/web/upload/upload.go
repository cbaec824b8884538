// Package upload owns the pages for files that somebody sends to be checked: their gap
// sheets are shown, and nothing is kept unless that is asked for.
//
// What is sent is taken in as any folder is, with the same bounds; here it is bounded
// in bytes, files, studies and time besides.
package upload

import (
	"bytes"
	"context"
	"crypto/rand"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"io"
	"mime/multipart"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"echotally/internal/desk"
	"echotally/internal/printable"
	"echotally/internal/run"
	"echotally/internal/store"
	"echotally/internal/trail"
	"echotally/internal/web/frame"
	"echotally/internal/writer"
)

//go:embed templates
var files embed.FS

// Templates are the pages' templates.
func Templates() frame.Templates { return frame.Templates{Files: files} }

// Bounds of one sending (site choice).
const (
	mostFiles   = 5000
	mostStudies = 200
	longest     = 10 * time.Minute
	keptFor     = 30 * time.Minute // after which what was sent is taken out
	mostKept    = 16               // sendings, of all who send
	atOnce      = 2                // that are checked at a time
)

// Pages are the pages of files that are checked.
type Pages struct {
	Dir string // below which files lie until they are checked; "" for the system's own

	lock sync.Mutex
	kept map[string]*sending
	busy int
}

// sending is what somebody has sent, and what was found in it.
type sending struct {
	id    string
	owner string
	lab   *frame.Lab
	dir   string
	until time.Time

	Sheets []template.HTML
	Unread []object
	Tally  run.Tally
	Files  int
	Stored bool
	Rules  int
}

// object is a file of no study that is known, and why it was not read.
type object struct{ Name, State, Reason, Hint string }

// Path is the address of what was found.
func (s *sending) Path() string { return "/check/" + s.id }

// Count is how many objects came to a state.
func (s *sending) Count(state string) int { return s.Tally.Objects[run.State(state)] }

type form struct {
	Most int64 // bytes
	Kept time.Duration
}

// Form is the page to send files.
func (p *Pages) Form(c *frame.Call) error {
	return c.Page(frame.View{Title: "Check files", Name: "check", Data: form{c.Site().Upload, keptFor}, Scripts: []string{"drop.js"}})
}

// Check takes files in and checks them.
func (p *Pages) Check(c *frame.Call) error {
	if err := p.begin(c.Now()); err != nil {
		return err
	}
	defer p.end()
	s := &sending{id: rand.Text(), owner: c.Session.Name, lab: c.Lab, until: c.Now().Add(keptFor)}
	var err error
	if s.dir, err = os.MkdirTemp(p.Dir, "echotally-check-*"); err != nil {
		return err
	}
	if err := p.receive(c, s); err != nil {
		return errors.Join(err, os.RemoveAll(s.dir))
	}
	ctx, stop := context.WithTimeout(c.R.Context(), longest)
	defer stop()
	s.Tally, err = desk.Check(ctx, c.Lab.Desk(), []string{s.dir}, &sheets{sending: s, lab: c.Lab})
	if errors.Is(err, context.DeadlineExceeded) {
		err = frame.Bad("That took too long to check.", "Send fewer files, or use echotally check.")
	}
	if err != nil {
		return errors.Join(err, os.RemoveAll(s.dir))
	}
	p.lock.Lock()
	if p.kept == nil {
		p.kept = map[string]*sending{}
	}
	p.kept[s.id] = s
	p.lock.Unlock()
	c.Did(trail.Execute, fmt.Sprintf("checked %d files", s.Files))
	return c.Go(s.Path())
}

// begin makes room for one more, or refuses it.
func (p *Pages) begin(now time.Time) error {
	p.lock.Lock()
	defer p.lock.Unlock()
	p.sweep(now)
	if p.busy >= atOnce || len(p.kept) >= mostKept {
		return &frame.Refusal{Status: http.StatusServiceUnavailable, Reason: "Others are checking files just now.", Hint: "Try again in a minute."}
	}
	p.busy++
	return nil
}

func (p *Pages) end() {
	p.lock.Lock()
	defer p.lock.Unlock()
	p.busy--
}

// sweep takes out what was kept long enough.
func (p *Pages) sweep(now time.Time) {
	for id, s := range p.kept {
		if now.After(s.until) {
			delete(p.kept, id)
			_ = os.RemoveAll(s.dir)
		}
	}
}

// Close takes out all that was sent.
func (p *Pages) Close() error {
	p.lock.Lock()
	defer p.lock.Unlock()
	var err error
	for id, s := range p.kept {
		delete(p.kept, id)
		err = errors.Join(err, os.RemoveAll(s.dir))
	}
	return err
}

// receive writes what is sent to files, each in a folder of its own: a name says
// nothing about where.
func (p *Pages) receive(c *frame.Call, s *sending) error {
	parts, err := c.R.MultipartReader()
	if err != nil {
		return frame.Bad("No files were sent.", "Choose files or a folder first.")
	}
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return frame.Unsent(errors.Join(io.ErrUnexpectedEOF, err)) // whatever is wrong, it is in what was sent
		}
		if part.FormName() != "files" || part.FileName() == "" {
			continue
		}
		if s.Files++; s.Files > mostFiles {
			return frame.Bad(fmt.Sprintf("More than %d files are too many at a time.", mostFiles), "Send fewer, or a zip archive, or use echotally check.")
		}
		if err := write(filepath.Join(s.dir, fmt.Sprintf("%06d", s.Files)), part); err != nil {
			return frame.Unsent(err)
		}
	}
	if s.Files == 0 {
		return frame.Bad("No files were sent.", "Choose files or a folder first.")
	}
	return nil
}

func write(dir string, part *multipart.Part) error {
	if err := os.Mkdir(dir, 0o700); err != nil {
		return err
	}
	f, err := os.OpenFile(filepath.Join(dir, plain(part.FileName())), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return errors.New("a file could not be written")
	}
	_, err = io.Copy(f, part)
	return errors.Join(err, f.Close())
}

// longestName bounds the name a file is kept under, in bytes.
const longestName = 100

// plain is the last part of a name, of signs that name a file anywhere.
func plain(name string) string {
	name = name[strings.LastIndexAny(name, `/\`)+1:]
	name = strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7F || strings.ContainsRune(`<>:"|?*!`, r) {
			return '_'
		}
		return r
	}, strings.ToValidUTF8(name, "_"))
	for len(name) > longestName {
		_, size := lastRune(name)
		name = name[:len(name)-size]
	}
	if strings.Trim(name, ". ") == "" {
		return "file"
	}
	return name
}

func lastRune(s string) (rune, int) {
	runes := []rune(s)
	last := runes[len(runes)-1]
	return last, len(string(last))
}

// sheets is the document that studies are handed to.
type sheets struct {
	articles writer.Articles

	*sending
	lab *frame.Lab
	run *run.Run
}

// Begin takes note of the run.
func (d *sheets) Begin(r *run.Run) error {
	if r.Studies > mostStudies {
		return frame.Bad(fmt.Sprintf("More than %d studies are too many at a time.", mostStudies), "Send fewer, or use echotally check.")
	}
	own := *r
	own.Studies, own.Unread = 1, nil
	d.run, d.Rules = &own, r.RuleSet.Rules
	for _, o := range r.Unread {
		d.Unread = append(d.Unread, object{printable.Line(d.name(o.Path)), string(o.State), o.WithoutPath(), o.Hint})
	}
	return nil
}

// Leaf lays out the sheet of a study.
func (d *sheets) Leaf(s *run.Study) (template.HTML, error) {
	own := *s
	own.Objects = nil
	for _, o := range s.Objects {
		o.Reason, o.Other, o.Path = o.WithoutPath(), "", d.name(o.Path)
		own.Objects = append(own.Objects, o)
	}
	var b bytes.Buffer
	err := d.articles.GapSheet(&b, d.run, &own, writer.Options{}) // the patient is not named
	return template.HTML(b.String()), err                         // the writer escaped it
}

// Add takes a sheet.
func (d *sheets) Add(sheet template.HTML) error {
	d.Sheets = append(d.Sheets, sheet)
	return nil
}

// End has nothing to add.
func (d *sheets) End() error { return nil }

// name is the name a file was sent under.
func (d *sheets) name(path string) string {
	rest := strings.TrimPrefix(strings.TrimPrefix(path, filepath.ToSlash(d.dir)), "/")
	if _, name, found := strings.Cut(rest, "/"); found {
		return name
	}
	return rest
}

// own is what who asks has sent.
func (p *Pages) own(c *frame.Call) (*sending, error) {
	p.lock.Lock()
	defer p.lock.Unlock()
	p.sweep(c.Now())
	s := p.kept[c.R.PathValue("id")]
	if s == nil || s.owner != c.Session.Name || s.lab != c.Lab {
		return nil, &frame.Refusal{Status: http.StatusNotFound, Reason: "What was sent is not here any more.", Hint: "It is kept for half an hour. Send the files again."}
	}
	return s, nil
}

// Found is the page of what was found.
func (p *Pages) Found(c *frame.Call) error {
	s, err := p.own(c)
	if err != nil {
		return err
	}
	return c.Page(frame.View{Title: "Checked files", Name: "checked", Data: s, Styles: []string{"sheet.css"}})
}

// Keep records what was sent in the ledger.
func (p *Pages) Keep(c *frame.Call) error {
	s, err := p.own(c)
	if err != nil {
		return err
	}
	if s.Stored {
		return frame.Bad("This was recorded before.", "See Arrivals.")
	}
	var failed error
	record := &desk.Recorder{Desk: c.Lab.Desk(), Ledger: c.Lab.Ledger, Tell: func(*store.Receipt) error { return nil },
		Failed: func(string, string) {
			failed = frame.Bad("Not every study could be recorded.", "The program's own log says which.")
		}}
	if err := errors.Join(record.Paths(c.R.Context(), []string{s.dir}), failed); err != nil {
		return err
	}
	p.lock.Lock()
	s.Stored = true
	p.lock.Unlock()
	c.Did(trail.Create, "recorded files that were checked")
	return c.Go("/arrivals")
}

// Discard takes out what was sent.
func (p *Pages) Discard(c *frame.Call) error {
	s, err := p.own(c)
	if err != nil {
		return err
	}
	p.lock.Lock()
	delete(p.kept, s.id)
	p.lock.Unlock()
	if err := os.RemoveAll(s.dir); err != nil {
		return err
	}
	return c.Go("/check")
}
