package frame

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"echotally/internal/account/session"
)

// sharing is what becomes of a page that is made for all who are shown the same.
type sharing struct {
	view     *View
	personal bool // it asked for the name of who asks
	until    time.Time
}

// errNotShared is the answer of what is no page while one is made for all.
var errNotShared = errors.New("this is no page to be kept")

// atMost has the page kept no longer than until a time of the wall clock.
func (s *sharing) atMost(until time.Time) {
	if s.until.IsZero() || until.Before(s.until) {
		s.until = until
	}
}

// Clock is the time as a page shows it, which is kept for the minute only.
func (c *Call) Clock() time.Time {
	if c.shared != nil {
		c.shared.atMost(time.Now().Truncate(time.Minute).Add(time.Minute))
	}
	return c.Now()
}

// Kept has a page made once for all who ask for the same address in the same roles
// while neither the ledger, the rules, the accounts nor the day change.
func Kept(handle func(*Call) error) func(*Call) error {
	return func(c *Call) error {
		change, err := c.Lab.Ledger.Change(c.R.Context())
		if err != nil {
			return err
		}
		return c.Kept("ledger "+strconv.FormatInt(change, 10), handle)
	}
}

// Kept answers with the page that handle ends in, made once for all who ask for the same
// address in the same roles while of, which says what of the ledger it shows, the rules,
// the accounts and the day stay the same. The access log has it each time.
//
// Handle is given a call without a name. A page that asks for the name is made for each
// name apart. Only pages are kept: not what is refused, and nothing that names a patient.
func (c *Call) Kept(of string, handle func(*Call) error) error {
	if c.R.URL.Query().Has("names") {
		return handle(c)
	}
	key := c.keyOf(of)
	p, err := c.one(key, "", handle)
	if err == nil && p != nil && p.own {
		p, err = c.one(key+"\x00for "+c.Session.Name, c.Session.Name, handle)
	}
	switch {
	case errors.Is(err, errNotShared), err == nil && p == nil:
		return handle(c)
	case err != nil:
		return err
	}
	c.about = p.about
	return c.Page(p.view)
}

// keyOf is what the page that is asked for is made of, but for a name.
func (c *Call) keyOf(of string) string {
	lab := "own"
	if c.Lab.Demo {
		lab = "invented"
	}
	now := c.Now()
	return strings.Join([]string{
		of, lab, c.Lab.Desk().Library.Digest, strconv.FormatInt(c.site.Accounts.Changes(), 10), strings.Join(slices.Sorted(slices.Values(strings.Fields(c.Roles()))), " "),
		now.Local().Format(time.DateOnly), now.UTC().Format(time.DateOnly), c.route.Pattern, c.R.URL.Path, c.R.URL.RawQuery,
	}, "\x00")
}

// one gives the page of a key, made when there is none; nil where it cannot be kept.
// Several who ask at a time have it made once.
func (c *Call) one(key, name string, handle func(*Call) error) (*keptPage, error) {
	pages := &c.site.kept
	if p := pages.find(key); p != nil {
		return p, nil
	}
	made, err, _ := pages.making.Do(key, func() (any, error) {
		if p := pages.find(key); p != nil { // somebody was quicker
			return p, nil
		}
		p, err := c.make(key, name, handle)
		if err == nil && p != nil {
			pages.keep(p)
		}
		return p, err
	})
	if err != nil {
		return nil, err
	}
	return made.(*keptPage), nil
}

func (c *Call) make(key, name string, handle func(*Call) error) (*keptPage, error) {
	forAll := &Call{
		W: nowhere{}, R: c.R.WithContext(context.WithoutCancel(c.R.Context())), Lab: c.Lab, Session: &session.Session{Name: name, Roles: c.Session.Roles, Demo: c.Session.Demo},
		site: c.site, route: c.route, about: c.about, shared: &sharing{},
	}
	if err := handle(forAll); err != nil {
		return nil, err
	}
	s := forAll.shared
	switch {
	case s.view == nil, s.view.Status != 0, forAll.loud, forAll.event != "":
		return nil, nil
	case s.personal && name == "":
		return &keptPage{key: key, own: true}, nil
	}
	return &keptPage{key: key, view: *s.view, about: forAll.about, until: s.until}, nil
}

// nowhere takes what a handler writes beside its page.
type nowhere struct{}

// Header gives headers that nobody reads.
func (nowhere) Header() http.Header { return http.Header{} }

// Write says that it was written.
func (nowhere) Write(b []byte) (int, error) { return len(b), nil }

// WriteHeader does nothing.
func (nowhere) WriteHeader(int) {}
