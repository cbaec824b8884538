package disk

import (
	"errors"
	"fmt"

	"github.com/gofrs/flock"
)

// ErrInUse is the error for what another process has.
var ErrInUse = errors.New("in use by another process")

// Lock marks something as in use, by a file that is made for that and stays. The mark
// goes when it is released, or with the process that has it.
func Lock(path string) (release func() error, err error) {
	l := flock.New(path, flock.SetPermissions(0o600))
	got, err := l.TryLock()
	switch {
	case err != nil:
		return nil, fmt.Errorf("lock %s: %w", path, err)
	case !got:
		return nil, fmt.Errorf("%s: %w", path, ErrInUse)
	}
	return l.Unlock, nil
}
