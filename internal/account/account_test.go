package account

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"echotally/internal/account/password"
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
		name, secret string
		roles        []Role
	}{
		{"Ada Quill", "four plain words here", []Role{Reader}},
		{"ada quill", "four plain words here", []Role{Reader}},
		{"Tom", "short", []Role{Reader}},
		{"Tom", strings.Repeat("x", password.Most+1), []Role{Reader}},
		{"Tom", "four plain words here", nil},
		{"Tom", "four plain words here", []Role{"emperor"}},
		{"<b>Tom", "four plain words here", []Role{Reader}},
	} {
		if _, err := book.Add(wrong.name, wrong.secret, wrong.roles); err == nil {
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
