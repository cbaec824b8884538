// Package notify owns telling others what happened: webhooks and mail, out of a queue
// on the disk. What was put into it is told at least once, also after a crash; the
// same is put into it once only, and what has changed as an update. It names no patient and no study unless an event
// carries one.
package notify

import (
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

	"echotally/internal/disk"
)

// Event is something that happened.
type Event struct {
	ID       string         `json:"id"`
	Updates  string         `json:"updates,omitempty"` // the event in whose place it is: what was told then has changed
	Kind     Kind           `json:"event"`
	At       time.Time      `json:"at"`
	Findings map[string]int `json:"findings,omitzero"` // how many, by severity; of an update perhaps none
	Reason   string         `json:"reason,omitempty"`  // why an object was put into the quarantine
	Study    string         `json:"study,omitempty"`   // its UID, where the lab wants it told

	// About is what the event is about, State what is told of it: the same state of the
	// same thing is told once. Neither leaves the program as it is. "" is that there is
	// nothing to tell, which only who was told something before is told.
	About, State string `json:"-"`
}

// Kind of event.
type Kind string

// Kinds.
const (
	Findings    Kind = "study-with-findings"
	Quarantined Kind = "object-in-quarantine"
)

// mark makes one of what tells something from others, from which that cannot be read.
func mark(parts ...string) string {
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
	told *memory
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
	q.wake = make([]chan struct{}, len(q.Targets))
	for i, t := range q.Targets {
		q.wake[i] = make(chan struct{}, 1)
		err = errors.Join(err, os.MkdirAll(filepath.Join(q.Dir, t.Name()), 0o700))
	}
	if err := errors.Join(err, os.MkdirAll(filepath.Join(q.Dir, undelivered), 0o700)); err != nil {
		return false, err
	}
	name := filepath.Join(q.Dir, toldFile)
	_, err = os.Stat(name)
	fresh = errors.Is(err, fs.ErrNotExist)
	q.told, err = recall(name)
	return fresh, err
}

// Put puts an event into the queue of every target, on the disk, unless the same was
// told last about the same. It gives the event its ID, and the ID of the event before it.
func (q *Queue) Put(e *Event) error {
	q.lock.Lock()
	defer q.lock.Unlock()
	note, is := e.mark()
	before, known := q.told.last[note]
	if before.state == is || !known && e.State == "" {
		return nil
	}
	e.ID, e.Updates = mark(string(e.Kind), note, is, before.id), before.id
	b, err := json.Marshal(e)
	if err != nil {
		return err
	}
	for i, t := range q.Targets {
		dir := filepath.Join(q.Dir, t.Name())
		if err := disk.Write(filepath.Join(dir, fmt.Sprintf("%020d-%s.json", e.At.UnixNano(), e.ID)), b); err != nil {
			return err
		}
		select {
		case q.wake[i] <- struct{}{}:
		default: // is awake
		}
	}
	return q.told.note(note, told{is, e.ID, e.day()})
}

// Note says that an event needs not be told.
func (q *Queue) Note(e *Event) error {
	q.lock.Lock()
	defer q.lock.Unlock()
	note, is := e.mark()
	return q.told.note(note, told{is, mark(string(e.Kind), note, is), e.day()})
}

// mark gives what an event is about and its state as they are kept.
func (e *Event) mark() (about, state string) {
	return mark(string(e.Kind), e.About), mark("state", e.State)
}

func (e *Event) day() string { return e.At.UTC().Format(time.DateOnly) }

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
		q.Failed(t.Name(), errors.New("a notification in the queue cannot be read; it is kept in the folder undelivered"))
		if err := os.Rename(name, filepath.Join(q.Dir, undelivered, t.Name()+"-"+entry.Name())); err != nil {
			return "", nil, err
		}
	}
	return "", nil, nil
}
