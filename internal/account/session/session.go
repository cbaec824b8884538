// Package session owns who is signed in: the sessions of those who gave their password,
// kept in memory only, and the one-time code by which the first account is made.
package session

import (
	"crypto/rand"
	"crypto/sha256"
	"slices"
	"sync"
	"time"

	"echotally/internal/account"
)

// Session is somebody who is signed in.
type Session struct {
	Name  string // of the account, or as another system signed them in
	Roles []account.Role
	Began time.Time
	Demo  bool // looks at the invented lab
}

// Has reports whether the session has one of the roles.
func (s *Session) Has(roles ...account.Role) bool {
	return slices.ContainsFunc(roles, func(r account.Role) bool { return slices.Contains(s.Roles, r) })
}

// Sessions are those who are signed in. They are kept in memory only: a new start
// signs everybody out. They may be used from several goroutines.
type Sessions struct {
	Idle time.Duration // after which one ends that nothing is asked in
	Most time.Duration // after which one ends in any case
	Now  func() time.Time

	lock sync.Mutex
	open map[[sha256.Size]byte]*held
}

// held is a session with when it was last used.
type held struct {
	Session
	used time.Time
}

// mostSessions bounds what is held; the one that was not used for longest goes.
const mostSessions = 10_000

// Begin signs somebody in. What it gives stands in a cookie and is kept nowhere.
func (s *Sessions) Begin(name string, roles []account.Role) string {
	secret := rand.Text()
	s.lock.Lock()
	defer s.lock.Unlock()
	if s.open == nil {
		s.open = map[[sha256.Size]byte]*held{}
	}
	now := s.Now()
	s.sweep(now)
	s.open[sha256.Sum256([]byte(secret))] = &held{Session{Name: name, Roles: account.Known(roles), Began: now}, now}
	return secret
}

// Find gives the session of a cookie, nil for none. A session that was asked for is
// used.
func (s *Sessions) Find(secret string) *Session { return s.find(secret, true) }

// Look gives the session of a cookie without using it: so asks a page that keeps
// itself up to date.
func (s *Sessions) Look(secret string) *Session { return s.find(secret, false) }

func (s *Sessions) find(secret string, use bool) *Session {
	s.lock.Lock()
	defer s.lock.Unlock()
	key, now := sha256.Sum256([]byte(secret)), s.Now()
	h := s.open[key]
	if h == nil {
		return nil
	}
	if s.over(h, now) {
		delete(s.open, key)
		return nil
	}
	if use {
		h.used = now
	}
	one := h.Session
	return &one
}

// Change changes a session that is there.
func (s *Sessions) Change(secret string, to func(*Session)) {
	s.lock.Lock()
	defer s.lock.Unlock()
	if h := s.open[sha256.Sum256([]byte(secret))]; h != nil {
		to(&h.Session)
	}
}

// End signs out.
func (s *Sessions) End(secret string) {
	s.lock.Lock()
	defer s.lock.Unlock()
	delete(s.open, sha256.Sum256([]byte(secret)))
}

// EndAll ends all sessions of an account.
func (s *Sessions) EndAll(name string) {
	s.lock.Lock()
	defer s.lock.Unlock()
	for key, h := range s.open {
		if h.Name == name {
			delete(s.open, key)
		}
	}
}

func (s *Sessions) over(h *held, now time.Time) bool {
	return now.Sub(h.used) > s.Idle || now.Sub(h.Began) > s.Most
}

// sweep takes out what is over, and the oldest where there are too many.
func (s *Sessions) sweep(now time.Time) {
	var oldest [sha256.Size]byte
	at := now.Add(time.Hour)
	for key, h := range s.open {
		if s.over(h, now) {
			delete(s.open, key)
		} else if h.used.Before(at) {
			oldest, at = key, h.used
		}
	}
	if len(s.open) >= mostSessions {
		delete(s.open, oldest)
	}
}

// Once is a code that can be used one time.
type Once struct {
	lock sync.Mutex
	code string
}

// NewOnce makes a code.
func NewOnce() (*Once, string) {
	code := rand.Text()
	return &Once{code: code}, code
}

// Fits reports whether this is the code and it has not been used.
func (o *Once) Fits(code string) bool {
	if o == nil {
		return false
	}
	o.lock.Lock()
	defer o.lock.Unlock()
	return o.code != "" && sha256.Sum256([]byte(code)) == sha256.Sum256([]byte(o.code))
}

// Use uses up the code.
func (o *Once) Use() {
	o.lock.Lock()
	defer o.lock.Unlock()
	o.code = ""
}
