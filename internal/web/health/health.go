// Package health owns the page and the figures that say whether the program is well:
// what waits, what could not be read, room on the disks, the ledger and its backups.
//
// It names no patient and no member of staff.
package health

import (
	"context"
	"embed"
	"errors"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"echotally/internal/account"
	"echotally/internal/desk"
	"echotally/internal/spool"
	"echotally/internal/spool/backlog"
	"echotally/internal/spool/quarantine"
	"echotally/internal/store"
	"echotally/internal/store/proof"
	"echotally/internal/trail"
	"echotally/internal/web/frame"
)

//go:embed templates
var files embed.FS

// Templates are the pages' templates.
func Templates() frame.Templates { return frame.Templates{Files: files} }

// Receiver is a way by which studies come in, in words for who sets up a scanner.
type Receiver struct{ Kind, Host, Port, Title string }

// Pages are the pages about the program itself.
type Pages struct {
	Spool     *spool.Spool // nil where nothing is received
	Receivers []Receiver
	Folders   map[string]string // whose disk is looked at, by what lies there
	Backups   string            // folder of backups, "" when it is not known
	Rules     func() Rules      // what studies are judged by
	Renew     func() error      // reads the rules anew; on a fault those of before stay in force

	lock     sync.Mutex
	verified map[*frame.Lab]verification
	anew     map[*frame.Lab]*desk.Anew
}

// Rules are what studies are judged by.
type Rules struct {
	Version string
	Count   int
	Own     int // files of the lab's own
	Digest  string
	Since   time.Time
	Tried   time.Time // to read them anew, zero for never
	Fault   string    // why those of before are still in force, "" for nothing
}

// verification is what verifying came to when it was last asked for.
type verification struct {
	Running bool
	At      time.Time
	Proof   *proof.Proof
	Fault   string
}

// Disk is the room where something lies.
type Disk struct {
	Holds       string
	Free, Total int64 // bytes; 0 where the system does not tell
}

// Short says that there is little room left: less than a twentieth, or 2 GB (site choice).
func (d Disk) Short() bool { return d.Total > 0 && (d.Free < d.Total/20 || d.Free < 2<<30) }

type page struct {
	Receivers  []Receiver
	Load       backlog.Load
	Held       []quarantine.Held
	Receives   bool
	Disks      []Disk
	Statistics *store.Statistics
	Due        int
	Backup     time.Time
	Backups    bool // it is known where they lie
	Verified   verification
	Rules      Rules
	Standing   standing
	Manager    bool // may see what is otherwise than shipped
	Now        time.Time
}

// Stale says that the last backup is older than a week (site choice).
func (p page) Stale() bool { return p.Now.Sub(p.Backup) > 7*24*time.Hour }

// Health is the page.
func (p *Pages) Health(c *frame.Call) error {
	ctx := c.R.Context()
	data := page{Receivers: p.Receivers, Receives: p.Spool != nil, Disks: p.disks(), Backups: p.Backups != "", Backup: p.lastBackup(), Rules: p.Rules(), Manager: c.Session.Has(account.QualityManager), Now: c.Now()}
	var err error
	if p.Spool != nil {
		data.Load, err = p.Spool.Load()
		if err == nil {
			data.Held, err = p.Spool.Held()
		}
		if err != nil {
			return err
		}
	}
	if data.Statistics, err = c.Lab.Statistics(ctx); err != nil {
		return err
	}
	if data.Standing, err = p.standing(ctx, c.Lab); err != nil {
		return err
	}
	due, err := c.Lab.Ledger.Due(ctx)
	if err != nil {
		return err
	}
	data.Due = len(due)
	p.lock.Lock()
	data.Verified = p.verified[c.Lab]
	p.lock.Unlock()
	return c.Page(frame.View{Title: "Health", Name: "health", Data: data, Scripts: []string{"live.js"}})
}

// Verify has the ledger proved; the page tells what it came to.
func (p *Pages) Verify(c *frame.Call) error {
	lab := c.Lab
	if p.verifying(lab) {
		ctx, now := context.WithoutCancel(c.R.Context()), c.Site().Now
		go func() {
			found, err := lab.Ledger.Verify(ctx, "")
			done := verification{At: now(), Proof: found}
			if err != nil {
				done.Fault = err.Error()
			}
			p.lock.Lock()
			defer p.lock.Unlock()
			p.verified[lab] = done
		}()
	}
	c.Did(trail.Execute, "verify ledger")
	return c.Go("/health#ledger")
}

// verifying notes that the ledger is being verified; false when it is already.
func (p *Pages) verifying(lab *frame.Lab) bool {
	p.lock.Lock()
	defer p.lock.Unlock()
	if p.verified == nil {
		p.verified = map[*frame.Lab]verification{}
	}
	if p.verified[lab].Running {
		return false
	}
	p.verified[lab] = verification{Running: true}
	return true
}

// Retry looks once more at an object of the quarantine.
func (p *Pages) Retry(c *frame.Call) error {
	if err := c.R.ParseForm(); err != nil {
		return err
	}
	if p.Spool == nil {
		return frame.ErrNotFound
	}
	taken, err := p.Spool.Again(c.R.PostForm.Get("object"))
	switch {
	case errors.Is(err, os.ErrNotExist):
		return frame.Bad("This object is not in the quarantine any more.", "")
	case err != nil:
		return err
	case !taken:
		return frame.Bad("It stays in the quarantine; the reason stands beside it.", "Have it sent again, or ask who looks after the scanner.")
	}
	c.Did(trail.Execute, "object taken out of the quarantine")
	return c.Go("/health#quarantine")
}

// ReadRules reads the rules anew, as they lie in the folders now.
func (p *Pages) ReadRules(c *frame.Call) error {
	if err := p.Renew(); err != nil {
		c.Failed(err) // the page says what it is
	}
	c.Did(trail.Execute, "rules read anew")
	return c.Go("/health#rules")
}

// Alive answers who watches whether the program is there and the ledger answers.
func (p *Pages) Alive(c *frame.Call) error {
	if _, err := c.Lab.Ledger.Change(c.R.Context()); err != nil {
		return &frame.Refusal{Status: http.StatusServiceUnavailable, Reason: "The ledger does not answer.", Hint: ""}
	}
	c.W.Header().Set("Content-Type", "text/plain; charset=utf-8")
	_, err := c.W.Write([]byte("ok\n"))
	return err
}

func (p *Pages) disks() []Disk {
	var out []Disk
	for holds, dir := range p.Folders {
		d := Disk{Holds: holds}
		d.Free, d.Total = room(dir)
		out = append(out, d)
	}
	slices.SortFunc(out, func(a, b Disk) int { return strings.Compare(a.Holds, b.Holds) })
	return out
}

// lastBackup is when the newest file came to the folder of backups.
func (p *Pages) lastBackup() time.Time {
	var last time.Time
	if p.Backups == "" {
		return last
	}
	entries, _ := os.ReadDir(p.Backups) // one that cannot be read holds none
	for _, e := range entries {
		if info, err := e.Info(); err == nil && info.Mode().IsRegular() && !strings.HasPrefix(e.Name(), ".") && filepath.Ext(e.Name()) == ".db" && info.ModTime().After(last) {
			last = info.ModTime()
		}
	}
	return last
}
