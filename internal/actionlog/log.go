// Package actionlog owns the action: something the lab does about a measure, its
// owner a role, as a log tells it that is only added to.
package actionlog

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"sort"
	"strings"
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

// Read reads a log that was kept in a file, one entry a line.
func Read(r io.Reader) ([]Entry, error) {
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

// Action is something the lab does about a measure.
type Action struct {
	Number  int
	Title   string
	Cause   string
	Owner   string // a role, never a name
	Measure string // the measure it should move
	Started time.Time
	Due     time.Time
	Closed  time.Time // zero while open
	Result  string
}

// State tells where the action stands on a day.
func (a Action) State(on time.Time) string {
	switch {
	case !a.Closed.IsZero():
		return "closed"
	case !a.Due.IsZero() && on.After(a.Due):
		return "overdue"
	}
	return "open"
}

func date(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format(time.DateOnly)
}

// roleWords are what the roles of a lab are called with, in the countries where these
// reports are written in English. An owner made of other words may be a person.
var roleWords = []string{
	"administrator", "assistant", "associate", "audit", "biomedical", "cardiac", "cardiologist", "cardiologists", "cardiology", "chief", "clinical", "clinician", "committee",
	"consultant", "coordinator", "data", "department", "deputy", "director", "echo", "echocardiographer", "echocardiographers", "echocardiography", "education", "engineer", "fellow",
	"fellows", "governance", "group", "head", "imaging", "informatics", "it", "lab", "laboratory", "lead", "manager", "medical", "nurse", "officer", "pacs", "paediatric", "pediatric",
	"physician", "physicians", "physiologist", "physiologists", "quality", "reader", "readers", "registrar", "safety", "scheduler", "scientist", "secretary", "senior", "service", "site",
	"sonographer", "sonographers", "specialist", "staff", "stress", "superintendent", "supervisor", "system", "systems", "team", "technical", "technician", "technologist", "trainee",
	"trainees", "training", "ultrasound",
}

// joiningWords stand between words of a role and make none.
var joiningWords = []string{"all", "and", "for", "in", "of", "on", "the"}

// RoleWords lists the words that a role is made of.
func RoleWords() []string { return roleWords }

// IsRole reports whether the owner of an action is a role, made of known words and
// numbers, so that it can stand in documents that name nobody.
func IsRole(owner string) bool { return NoRole(owner) == "" }

// NoRole says why an owner is no role, "" for one that is. It tells which word is not
// known by its place, since the word may be a name.
func NoRole(owner string) string {
	named := false
	for i, w := range strings.FieldsFunc(strings.ToLower(owner), func(r rune) bool { return strings.ContainsRune(" -,/", r) }) {
		switch {
		case slices.Contains(roleWords, w):
			named = true
		case !slices.Contains(joiningWords, w) && (strings.Trim(w, "0123456789") != "" || len(w) > 2):
			return fmt.Sprintf("word %d of it is none that roles are made of", i+1)
		}
	}
	if !named {
		return "no word of it names a role" // a number alone may be that of a person
	}
	return ""
}

// OwnerShown is the owner where it is a role; another, of an older log, may be a
// name and is not shown.
func (a Action) OwnerShown() string {
	if a.Owner == "" || IsRole(a.Owner) {
		return a.Owner
	}
	return "(not shown: no role)"
}
