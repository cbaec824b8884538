// Package notify owns telling others what happened: webhooks and mail, out of a queue
// on the disk. What was put into it is told at least once, also after a crash, and the
// same event is put into it once only. It names no patient and no study unless an event
// carries one.
package notify

import (
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"
)

// Event is something that happened. Two events with the same ID are the same.
type Event struct {
	ID       string         `json:"id"`
	Kind     Kind           `json:"event"`
	At       time.Time      `json:"at"`
	Findings map[string]int `json:"findings,omitempty"` // how many, by severity
	Reason   string         `json:"reason,omitempty"`   // why an object was put into the quarantine
	Study    string         `json:"study,omitempty"`    // its UID, where the lab wants it told
}

// Kind of event.
type Kind string

// Kinds.
const (
	Findings    Kind = "study-with-findings"
	Quarantined Kind = "object-in-quarantine"
)

// ID makes one of what tells an event from others, from which these cannot be read.
func ID(parts ...string) string {
	sum := sha256.Sum256([]byte(strings.Join(parts, "\n")))
	return hex.EncodeToString(sum[:16])
}

// Target is somebody who is told. An error that wraps ErrRefused is for good; after any
// other it is tried again.
type Target interface {
	Name() string // of a folder
	Tell(ctx context.Context, e *Event) error
}

// ErrRefused is that a target does not take an event, and never will.
var ErrRefused = errors.New("refused")

// Queue holds what is to be told, in a folder for each target.
type Queue struct {
	Dir     string
	Targets []Target
	Failed  func(target string, err error) // is told of every failure; several may come at a time

	First, Longest time.Duration // pauses between tries: the first, doubled up to the longest
	Keep           time.Duration // how long an event is tried

	lock sync.Mutex
	told map[string]bool
	wake []chan struct{}
}

// Defaults of a queue (site choice).
const (
	DefaultFirst   = time.Second
	DefaultLongest = 10 * time.Minute
	DefaultKeep    = 7 * 24 * time.Hour
)

const (
	toldFile    = "told"
	undelivered = "undelivered"
)

// Open makes the folders and reads what was told before. Fresh is that nothing ever
// was: the queue is new.
func (q *Queue) Open() (fresh bool, err error) {
	q.told, q.wake = map[string]bool{}, make([]chan struct{}, len(q.Targets))
	for i, t := range q.Targets {
		q.wake[i] = make(chan struct{}, 1)
		err = errors.Join(err, os.MkdirAll(filepath.Join(q.Dir, t.Name()), 0o700))
	}
	if err := errors.Join(err, os.MkdirAll(filepath.Join(q.Dir, undelivered), 0o700)); err != nil {
		return false, err
	}
	f, err := os.Open(filepath.Join(q.Dir, toldFile))
	if errors.Is(err, fs.ErrNotExist) {
		return true, nil
	}
	if err != nil {
		return false, err
	}
	defer f.Close()
	lines := bufio.NewScanner(f)
	for lines.Scan() {
		q.told[lines.Text()] = true
	}
	return false, errors.Join(lines.Err(), q.append("")) // ends a line that a crash cut
}

// Put puts an event into the queue of every target, on the disk, unless it was put
// there before.
func (q *Queue) Put(e *Event) error {
	q.lock.Lock()
	defer q.lock.Unlock()
	if q.told[e.ID] {
		return nil
	}
	b, err := json.Marshal(e)
	if err != nil {
		return err
	}
	for i, t := range q.Targets {
		dir := filepath.Join(q.Dir, t.Name())
		if err := writeWhole(dir, fmt.Sprintf("%020d-%s.json", e.At.UnixNano(), e.ID), b); err != nil {
			return err
		}
		select {
		case q.wake[i] <- struct{}{}:
		default: // is awake
		}
	}
	return q.note(e.ID)
}

// Note says that an event needs not be told.
func (q *Queue) Note(id string) error {
	q.lock.Lock()
	defer q.lock.Unlock()
	return q.note(id)
}

func (q *Queue) note(id string) error {
	if q.told[id] {
		return nil
	}
	err := q.append(id)
	q.told[id] = err == nil
	return err
}

// append adds a line to the file of what was told, on the disk.
func (q *Queue) append(line string) error {
	f, err := os.OpenFile(filepath.Join(q.Dir, toldFile), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = f.WriteString(line + "\n")
	return errors.Join(err, f.Sync(), f.Close())
}

// writeWhole writes a file that is there whole or not at all.
func writeWhole(dir, name string, b []byte) error {
	f, err := os.CreateTemp(dir, ".*")
	if err != nil {
		return err
	}
	_, err = f.Write(b)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), filepath.Join(dir, name))
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// Run tells what lies in the queue and what comes to it, each target for itself, until
// the context ends.
func (q *Queue) Run(ctx context.Context) error {
	var (
		wait sync.WaitGroup
		errs = make([]error, len(q.Targets))
	)
	for i, t := range q.Targets {
		wait.Go(func() { errs[i] = q.tell(ctx, t, q.wake[i]) })
	}
	wait.Wait()
	return errors.Join(errs...)
}

// tell tells one target event after event, the oldest first: while one cannot be told,
// the others could not either.
func (q *Queue) tell(ctx context.Context, t Target, wake <-chan struct{}) error {
	pause := q.First
	for ctx.Err() == nil {
		name, e, err := q.next(t)
		if err != nil {
			return err
		}
		if e == nil {
			select {
			case <-ctx.Done():
			case <-wake:
			}
			continue
		}
		switch err := t.Tell(ctx, e); {
		case err == nil:
			pause = q.First
			if err := os.Remove(name); err != nil {
				return err // it would be told for ever
			}
		case ctx.Err() != nil:
		case errors.Is(err, ErrRefused) || time.Since(e.At) > q.Keep:
			q.Failed(t.Name(), err)
			if err := os.Rename(name, filepath.Join(q.Dir, undelivered, t.Name()+"-"+filepath.Base(name))); err != nil {
				return err
			}
		default:
			q.Failed(t.Name(), err)
			select {
			case <-ctx.Done():
			case <-time.After(pause):
			}
			pause = min(2*pause, q.Longest)
		}
	}
	return nil
}

// next is the oldest event for a target, nil when there is none. One that cannot be
// read, which only a damaged disk makes, is set aside.
func (q *Queue) next(t Target) (string, *Event, error) {
	dir := filepath.Join(q.Dir, t.Name())
	entries, err := os.ReadDir(dir) // in order of their names, which begin with the time
	if err != nil {
		return "", nil, err
	}
	for _, entry := range entries {
		if strings.HasPrefix(entry.Name(), ".") {
			continue // not whole yet
		}
		name := filepath.Join(dir, entry.Name())
		b, err := os.ReadFile(name)
		e := &Event{}
		if err == nil {
			err = json.Unmarshal(b, e)
		}
		if err == nil {
			return name, e, nil
		}
		q.Failed(t.Name(), errors.New("an event in the queue cannot be read"))
		if err := os.Rename(name, filepath.Join(q.Dir, undelivered, t.Name()+"-"+entry.Name())); err != nil {
			return "", nil, err
		}
	}
	return "", nil, nil
}
