package session

import (
	"strings"
	"testing"
	"time"

	"echotally/internal/account"
)

func TestSessionsEnd(t *testing.T) {
	now := time.Date(2026, 11, 30, 8, 0, 0, 0, time.UTC)
	s := &Sessions{Idle: time.Hour, Most: 3 * time.Hour, Now: func() time.Time { return now }}
	used, idle, looked := s.Begin("Ada", []account.Role{account.Reader}), s.Begin("Tom", []account.Role{account.Reader}), s.Begin("Ina", []account.Role{account.Reader})
	for range 3 {
		now = now.Add(50 * time.Minute)
		if s.Find(used) == nil {
			t.Fatal("a session that is used ends")
		}
		s.Look(looked)
	}
	if s.Find(idle) != nil || s.Find(looked) != nil {
		t.Error("a session that is not used goes on")
	}
	now = now.Add(31 * time.Minute)
	if s.Find(used) != nil {
		t.Error("a session goes on for longer than it may")
	}
	for _, forged := range []string{"", "x", used + "x", strings.ToLower(used)} {
		if s.Find(forged) != nil {
			t.Errorf("%q is a session", forged)
		}
	}
	again := s.Begin("Ada", []account.Role{account.Reader})
	if s.EndAll("Ada"); s.Find(again) != nil {
		t.Error("a session goes on that was ended")
	}
}

func TestACodeIsUsedOnce(t *testing.T) {
	once, code := NewOnce()
	if once.Fits("") || once.Fits(code+"x") || !once.Fits(code) {
		t.Error("the wrong code fits")
	}
	if once.Use(); once.Fits(code) || once.Fits("") {
		t.Error("a code that was used fits")
	}
	if (*Once)(nil).Fits(code) {
		t.Error("no code fits")
	}
}
