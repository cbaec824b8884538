// Package fault owns what a ledger, and what lies beside it, tells of something that
// could not be done: what was tried, why it failed, and what to do about it.
package fault

import (
	"errors"
	"io/fs"
)

// Error says what failed, why, and what to do about it. It carries no patient
// data.
type Error struct {
	Doing, Reason, Hint string
	Cause               error // nil where the reason says all
}

func (e *Error) Error() string { return e.Doing + ": " + e.Reason }
func (e *Error) Unwrap() error { return e.Cause }

// Reason tells an error in words, that of a file without its path: it may name a
// patient.
func Reason(err error) string {
	var path *fs.PathError
	if errors.As(err, &path) {
		return path.Err.Error()
	}
	return err.Error()
}

// OfFile tells what a file refused with a hint; nil where the error is not about a
// file.
func OfFile(doing string, err error) error {
	var path *fs.PathError
	if !errors.As(err, &path) {
		return nil
	}
	e := &Error{Doing: doing, Reason: path.Err.Error(), Cause: err, Hint: "check that the folder exists and may be written to"}
	if errors.Is(err, fs.ErrNotExist) {
		e.Reason, e.Hint = "there is no such file", "echotally intake makes the ledger; name another one with --store"
	}
	return e
}
