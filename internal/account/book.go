package account

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode"

	"echotally/internal/account/password"
	"echotally/internal/disk"
)

// Account is somebody who may sign in with a password.
type Account struct {
	Name     string    `json:"name"`
	Roles    []Role    `json:"roles"`
	Password string    `json:"password"` // argon2id
	Made     time.Time `json:"made"`
	Closed   bool      `json:"closed,omitempty"` // may not sign in any more
}

// Has reports whether the account has one of the roles.
func (a *Account) Has(roles ...Role) bool {
	return slices.ContainsFunc(roles, func(r Role) bool { return slices.Contains(a.Roles, r) })
}

// Fault is what is wrong with something that was asked for, in words for whoever
// asked.
type Fault struct{ Reason, Hint string }

func (f *Fault) Error() string { return f.Reason }

// Book is the file of accounts. It may be used from several goroutines; another
// process must not write to the file meanwhile.
type Book struct {
	file string
	now  func() time.Time

	lock     sync.Mutex
	accounts []Account
	changes  int64
	trying   chan struct{} // how many passwords are tried at a time: each takes memory
	nobody   string        // a password nobody has, tried for names that are not there
}

// triesAtOnce bounds the memory that signing in takes to some 80 MB.
const triesAtOnce = 4

// mostOfBook is more than the accounts of any lab, in bytes.
const mostOfBook = 4 << 20

// Open reads the file of accounts; one that is not there has none.
func Open(file string, now func() time.Time) (*Book, error) {
	b := &Book{file: file, now: now, trying: make(chan struct{}, triesAtOnce), nobody: password.Hashed("nobody has this password")}
	info, err := os.Stat(file)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return b, nil
	case err != nil:
		return nil, fmt.Errorf("open accounts: %w", reasonOf(err))
	case !info.Mode().IsRegular() || info.Size() > mostOfBook:
		return nil, errors.New("open accounts: this is not a file of accounts")
	case runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0:
		return nil, errors.New("open accounts: others than the owner may read the file (chmod 600 ends that)")
	}
	content, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("open accounts: %w", reasonOf(err))
	}
	if err := json.Unmarshal(content, &b.accounts); err != nil {
		return nil, errors.New("open accounts: the file is damaged; put a copy of it in its place")
	}
	return b, nil
}

// reasonOf is an error of the file system without the path.
func reasonOf(err error) error {
	if path, ok := errors.AsType[*fs.PathError](err); ok {
		return path.Err
	}
	return err
}

// Empty reports whether nobody has an account yet.
func (b *Book) Empty() bool {
	b.lock.Lock()
	defer b.lock.Unlock()
	return len(b.accounts) == 0
}

// All lists the accounts by name.
func (b *Book) All() []Account {
	b.lock.Lock()
	defer b.lock.Unlock()
	out := slices.Clone(b.accounts)
	slices.SortFunc(out, func(x, y Account) int { return strings.Compare(x.Name, y.Name) })
	return out
}

// Changes is a number that grows with every change of the accounts.
func (b *Book) Changes() int64 {
	b.lock.Lock()
	defer b.lock.Unlock()
	return b.changes
}

// Add makes an account.
func (b *Book) Add(name, secret string, roles []Role) (*Account, error) {
	a := Account{Name: strings.TrimSpace(name), Roles: Known(roles), Made: b.now().UTC().Truncate(time.Second)}
	switch err := checkPassword(secret); {
	case !named(a.Name):
		return nil, &Fault{"a name has 2 to 64 letters, digits, spaces, dots, hyphens or @", "such as the one used at the scanner"}
	case len(a.Roles) == 0:
		return nil, &Fault{"no role was chosen", "choose what the person does in the lab"}
	case err != nil:
		return nil, err
	}
	a.Password = password.Hashed(secret)
	return &a, b.change(func() error {
		if b.find(a.Name) >= 0 {
			return &Fault{"there is an account of this name", "choose another name"}
		}
		b.accounts = append(b.accounts, a)
		return nil
	})
}

// SetPassword gives an account another password.
func (b *Book) SetPassword(name, secret string) error {
	if err := checkPassword(secret); err != nil {
		return err
	}
	sum := password.Hashed(secret)
	return b.changeOne(name, func(a *Account) { a.Password = sum })
}

// Close keeps an account from signing in, or opens it again. The last administrator
// stays.
func (b *Book) Close(name string, closed bool) error {
	return b.changeOne(name, func(a *Account) { a.Closed = closed })
}

// SetRoles gives an account other roles. The last administrator stays one.
func (b *Book) SetRoles(name string, roles []Role) error {
	if roles = Known(roles); len(roles) == 0 {
		return &Fault{"no role was chosen", "choose what the person does in the lab, or close the account"}
	}
	return b.changeOne(name, func(a *Account) { a.Roles = roles })
}

func (b *Book) changeOne(name string, to func(*Account)) error {
	return b.change(func() error {
		i := b.find(name)
		if i < 0 {
			return &Fault{"there is no such account", ""}
		}
		to(&b.accounts[i])
		if !slices.ContainsFunc(b.accounts, func(a Account) bool { return !a.Closed && a.Has(Administrator) }) {
			return &Fault{"there would be no administrator left", "make another administrator first"}
		}
		return nil
	})
}

// change makes a change and writes the file; what cannot be done changes nothing.
func (b *Book) change(to func() error) error {
	b.lock.Lock()
	defer b.lock.Unlock()
	before := slices.Clone(b.accounts)
	err := to()
	if err == nil {
		err = b.write()
	}
	if err != nil {
		b.accounts = before
	} else {
		b.changes++
	}
	return err
}

func (b *Book) write() error {
	content, err := json.MarshalIndent(b.accounts, "", "  ")
	if err != nil {
		return err
	}
	if err := disk.Write(b.file, append(content, '\n')); err != nil {
		return fmt.Errorf("write accounts: %w", reasonOf(err))
	}
	return nil
}

func (b *Book) find(name string) int {
	return slices.IndexFunc(b.accounts, func(a Account) bool { return strings.EqualFold(a.Name, name) })
}

// Try gives the account whose name and password these are, nil for none. It takes as
// long for a name that is not there.
func (b *Book) Try(name, secret string) *Account {
	b.trying <- struct{}{}
	defer func() { <-b.trying }()
	b.lock.Lock()
	var a *Account
	kept := b.nobody
	if i := b.find(strings.TrimSpace(name)); i >= 0 && !b.accounts[i].Closed {
		one := b.accounts[i]
		a, kept = &one, one.Password
	}
	b.lock.Unlock()
	if !password.Matches(kept, secret) {
		return nil
	}
	return a
}

func checkPassword(secret string) error {
	switch {
	case len(secret) < password.Least:
		return &Fault{fmt.Sprintf("a password needs at least %d characters", password.Least), "a few words are easier to remember than symbols"}
	case len(secret) > password.Most:
		return &Fault{fmt.Sprintf("a password may have at most %d characters", password.Most), ""}
	}
	return nil
}

func named(name string) bool {
	return len(name) >= 2 && len(name) <= 64 && !strings.ContainsFunc(name, func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r) && !strings.ContainsRune(" .-@_", r)
	})
}
