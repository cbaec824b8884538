package main

import (
	"io"
	"sync"

	"echotally/internal/printable"
)

// toldWriter keeps the first error of a stream that many write to, so that none
// need look at each: the command ends with it in any case.
type toldWriter struct {
	w    io.Writer
	safe io.Writer // the same, behind which no text acts on what shows it
	lock sync.Mutex
	err  error
}

func told(w io.Writer) *toldWriter { return &toldWriter{w: w, safe: printable.NewWriter(w)} }

// Write hands on to the stream, until that has failed once.
func (t *toldWriter) Write(p []byte) (int, error) {
	if err := t.failed(); err != nil {
		return 0, err
	}
	n, err := t.safe.Write(p)
	if err != nil {
		t.lock.Lock()
		defer t.lock.Unlock()
		if t.err == nil {
			t.err = err
		}
		err = t.err
	}
	return n, err
}

// failed is the first error, nil when all was written.
func (t *toldWriter) failed() error {
	t.lock.Lock()
	defer t.lock.Unlock()
	return t.err
}
