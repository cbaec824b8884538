package account

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// TestAccountsAreKept: what was taken is there after a new start, and no password in the
// file; what cannot be an account is refused.
func TestAccountsAreKept(t *testing.T) {
	file := filepath.Join(t.TempDir(), "accounts.json")
	book, err := Open(file, time.Now)
	if err != nil || !book.Empty() {
		t.Fatal(err)
	}
	if _, err := book.Add("Ada Quill", "four plain words here", []Role{Administrator, Reader, "emperor"}); err != nil {
		t.Fatal(err)
	}
	for _, wrong := range []struct {
		name, password string
		roles          []Role
	}{
		{"Ada Quill", "four plain words here", []Role{Reader}},
		{"ada quill", "four plain words here", []Role{Reader}},
		{"Tom", "short", []Role{Reader}},
		{"Tom", strings.Repeat("x", MostPassword+1), []Role{Reader}},
		{"Tom", "four plain words here", nil},
		{"Tom", "four plain words here", []Role{"emperor"}},
		{"<b>Tom", "four plain words here", []Role{Reader}},
	} {
		if _, err := book.Add(wrong.name, wrong.password, wrong.roles); err == nil {
			t.Errorf("%v was taken", wrong)
		}
	}
	content, err := os.ReadFile(file)
	if err != nil || strings.Contains(string(content), "plain words") || !strings.Contains(string(content), "$argon2id$") {
		t.Errorf("%v: %s", err, content)
	}
	if info, err := os.Stat(file); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v, %v", info.Mode(), err)
	}
	if book, err = Open(file, time.Now); err != nil {
		t.Fatal(err)
	}
	if a := book.Try("ada quill", "four plain words here"); a == nil || !a.Has(Reader) || a.Has(Sonographer) {
		t.Errorf("%+v", a)
	}
	for name, password := range map[string]string{"Ada Quill": "four plain words", "Nobody": "nobody has this password", "": ""} {
		if book.Try(name, password) != nil {
			t.Errorf("%q is let in", name)
		}
	}
}

func TestTheLastAdministratorStays(t *testing.T) {
	book, err := Open(filepath.Join(t.TempDir(), "accounts.json"), time.Now)
	if err != nil {
		t.Fatal(err)
	}
	for name, roles := range map[string][]Role{"Ada": {Administrator}, "Tom": {Reader}} {
		if _, err := book.Add(name, "four plain words here", roles); err != nil {
			t.Fatal(err)
		}
	}
	if book.SetRoles("Ada", []Role{Reader}) == nil || book.Close("Ada", true) == nil {
		t.Error("nobody is administrator")
	}
	if err := book.Close("Tom", true); err != nil || book.Try("Tom", "four plain words here") != nil {
		t.Errorf("%v, or a closed account is let in", err)
	}
}

func TestFilesOfAccountsThatAreNone(t *testing.T) {
	dir := t.TempDir()
	for name, make := range map[string]func(string) error{
		"damaged": func(f string) error { return os.WriteFile(f, []byte("{"), 0o600) },
		"open":    func(f string) error { return os.WriteFile(f, []byte("[]"), 0o644) },
		"folder":  func(f string) error { return os.Mkdir(f, 0o700) },
	} {
		file := filepath.Join(dir, name)
		if err := make(file); err != nil {
			t.Fatal(err)
		}
		if _, err := Open(file, time.Now); err == nil || strings.Contains(err.Error(), dir) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestSessionsEnd(t *testing.T) {
	now := time.Date(2026, 11, 30, 8, 0, 0, 0, time.UTC)
	s := &Sessions{Idle: time.Hour, Most: 3 * time.Hour, Now: func() time.Time { return now }}
	used, idle, looked := s.Begin("Ada", []Role{Reader}), s.Begin("Tom", []Role{Reader}), s.Begin("Ina", []Role{Reader})
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
	again := s.Begin("Ada", []Role{Reader})
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

// TestDamagedPasswordsMatchNothing: neither a damaged line nor one of other costs than it
// was made with lets anybody in.
func TestDamagedPasswordsMatchNothing(t *testing.T) {
	own := hashed("four plain words here")
	if !matches(own, "four plain words here") || matches(own, "four plain words her") {
		t.Error("a password does not match itself, or another one does")
	}
	for _, broken := range []string{"", "$argon2id$", strings.Replace(own, "argon2id", "argon2i", 1), strings.Replace(own, "t=2", "t=0", 1), strings.Replace(own, "m=19456", "m=99999999", 1), own[:len(own)-4]} {
		if matches(broken, "four plain words here") {
			t.Errorf("%q matches", broken)
		}
	}
}
