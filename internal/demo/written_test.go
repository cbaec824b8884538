package demo

import (
	"os"
	"sync"
	"testing"

	"echotally/internal/demo/casebook"
)

// written is the whole lab of seed 1, made once for all tests, which only read it.
var written struct {
	sync.Once
	dir   string
	cases []casebook.Case
	err   error
}

// Written gives the folder of the whole lab of seed 1, and its studies as they were made.
func Written(t *testing.T) (dir string, cases []casebook.Case) {
	t.Helper()
	written.Do(func() {
		if written.dir, written.err = os.MkdirTemp("", "demo-lab"); written.err != nil {
			return
		}
		_, written.err = Write(written.dir, casebook.Options{Seed: 1})
		written.cases = casebook.Studies(casebook.Options{Seed: 1})
	})
	if written.err != nil {
		t.Fatal(written.err)
	}
	return written.dir, written.cases
}

func TestMain(m *testing.M) {
	code := m.Run()
	if written.dir != "" {
		_ = os.RemoveAll(written.dir)
	}
	os.Exit(code)
}
