package web

import (
	"context"
	"errors"
	"net/http/httptest"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"echotally/internal/desk"
	"echotally/internal/library"
	"echotally/internal/rule"
	"echotally/internal/store"
	"echotally/internal/store/keyfile"
	"echotally/internal/web/frame"
	"echotally/rules"
)

// begun is a ledger that several tests begin with: recorded once, and copied for each.
type begun struct {
	sync.Once
	record func(t testing.TB, lab *frame.Lab)
	files  map[string][]byte // by their names
}

var (
	twelfth = begun{record: everyTwelfth}
	small   = begun{record: func(t testing.TB, lab *frame.Lab) { fill(t, lab) }}
	aYear   = begun{record: recordYear}
)

// site serves every page on a copy of the ledger.
func (b *begun) site(t testing.TB, change ...func(*Pages)) (*frame.Site, *httptest.Server) {
	t.Helper()
	b.Do(func() {
		dir := t.TempDir()
		if _, err := keyfile.Make(filepath.Join(dir, "key")); err != nil {
			t.Fatal(err)
		}
		lab := labIn(t, dir)
		b.record(t, lab)
		if err := lab.Ledger.Close(); err != nil {
			t.Fatal(err)
		}
		key, err := os.ReadFile(filepath.Join(dir, "key"))
		ledger, failed := os.ReadFile(filepath.Join(dir, "lab.db"))
		if err = errors.Join(err, failed); err != nil {
			t.Fatal(err)
		}
		b.files = map[string][]byte{"key": key, "lab.db": ledger}
	})
	if b.files == nil {
		t.Fatal("the ledger could not be recorded for another test")
	}
	dir := t.TempDir()
	for name, content := range b.files {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return siteIn(t, dir, change...)
}

// shipped are the shipped rules, which no test changes.
var shipped = sync.OnceValues(func() (*library.Library, error) {
	return library.Load(library.Settings{Edition: rule.DefaultEdition}, rules.FS)
})

// labIn opens the ledger of a folder with the key that lies there.
func labIn(t testing.TB, dir string) *frame.Lab {
	t.Helper()
	set, err := shipped()
	if err != nil {
		t.Fatal(err)
	}
	key, err := keyfile.Read(filepath.Join(dir, "key"))
	if err != nil {
		t.Fatal(err)
	}
	ledger, err := store.Open(context.Background(), filepath.Join(dir, "lab.db"), store.Options{Key: key})
	if err != nil {
		t.Fatal(err)
	}
	return &frame.Lab{Ledger: ledger, Key: key, Work: desk.NewInForce(&desk.Desk{Library: set, SoftwareVersion: "test", Now: time.Now, Log: zerolog.Nop()})}
}

// records records what lies in a folder.
func records(t testing.TB, lab *frame.Lab, dir string) {
	t.Helper()
	record := &desk.Recorder{Desk: lab.Desk(), Ledger: lab.Ledger, Tell: func(*store.Receipt) error { return nil }, Failed: func(uid, reason string) { t.Errorf("%s: %s", uid, reason) }}
	if err := record.Paths(context.Background(), []string{dir}); err != nil {
		t.Fatal(err)
	}
}
