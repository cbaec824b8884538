package audit

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"sort"
	"time"
)

// Entry is one line of the action log, which the ledger keeps. The log is only
// ever added to: what an action was before stays readable.
type Entry struct {
	At      time.Time `json:"at"`
	Number  int       `json:"number"`
	Event   Event     `json:"event"`
	Title   string    `json:"title,omitempty"`
	Cause   string    `json:"cause,omitempty"`
	Owner   string    `json:"owner,omitempty"`
	Measure string    `json:"measure,omitempty"`
	Started string    `json:"started,omitempty"` // 2026-06-01
	Due     string    `json:"due,omitempty"`     // 2026-09-01
	Result  string    `json:"result,omitempty"`
}

// Event says what happened to an action.
type Event string

// Events of the log.
const (
	Added   Event = "add"
	Updated Event = "update"
	Ended   Event = "close"
)

// ReadLog reads a log that was kept in a file, one entry a line.
func ReadLog(r io.Reader) ([]Entry, error) {
	var out []Entry
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, 1<<20)
	for n := 1; lines.Scan(); n++ {
		if len(lines.Bytes()) == 0 {
			continue
		}
		var e Entry
		if err := json.Unmarshal(lines.Bytes(), &e); err != nil {
			return nil, fmt.Errorf("action log, line %d: %w", n, err)
		}
		out = append(out, e)
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("action log: %w", err)
	}
	return out, nil
}

// Actions gives the actions as they stand after the entries, by number.
func Actions(entries []Entry) ([]Action, error) {
	by := map[int]*Action{}
	for n, e := range entries {
		if err := apply(by, e); err != nil {
			return nil, fmt.Errorf("action log, entry %d: %w", n+1, err)
		}
	}
	var out []Action
	for _, a := range by {
		out = append(out, *a)
	}
	sort.Slice(out, func(i, j int) bool { return out[i].Number < out[j].Number })
	return out, nil
}

func apply(by map[int]*Action, e Entry) error {
	a := by[e.Number]
	switch {
	case e.Event == Added && a != nil:
		return fmt.Errorf("action %d is there already", e.Number)
	case e.Event == Added:
		a = &Action{Number: e.Number}
		by[e.Number] = a
	case a == nil:
		return fmt.Errorf("there is no action %d", e.Number)
	}
	for _, f := range []struct {
		to   *string
		from string
	}{{&a.Title, e.Title}, {&a.Cause, e.Cause}, {&a.Owner, e.Owner}, {&a.Measure, e.Measure}, {&a.Result, e.Result}} {
		if f.from != "" {
			*f.to = f.from
		}
	}
	for _, d := range []struct {
		to   *time.Time
		from string
	}{{&a.Started, e.Started}, {&a.Due, e.Due}} {
		if d.from == "" {
			continue
		}
		day, err := time.Parse(time.DateOnly, d.from)
		if err != nil {
			return fmt.Errorf("date %q is not written as 2026-10-05", d.from)
		}
		*d.to = day
	}
	if e.Event == Ended {
		a.Closed = e.At
	}
	return nil
}

// Next is the entry as it is to be added after the others; one that adds an action
// gets the next number.
func Next(entries []Entry, e Entry) (Entry, error) {
	actions, err := Actions(entries)
	if err != nil {
		return e, err
	}
	by := map[int]*Action{}
	next := 1
	for i := range actions {
		by[actions[i].Number] = &actions[i]
		next = max(next, actions[i].Number+1)
	}
	if e.Event == Added && e.Number == 0 {
		e.Number = next
	}
	if err := apply(by, e); err != nil {
		return e, err
	}
	if a := by[e.Number]; !a.Due.IsZero() && a.Due.Before(a.Started) {
		return e, fmt.Errorf("action %d is due on %s, before it begins on %s", e.Number, date(a.Due), date(a.Started))
	}
	return e, nil
}
