package proof

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"

	"echotally/internal/store/keyfile"
)

// Proof is what verifying a ledger came to.
type Proof struct {
	Events int
	Rows   int
	Seals  int
	Marked int      // seals that were made with the key, when it was given
	Head   string   // hash of the last seal: noted elsewhere, it also proves that nothing was cut off
	Faults []string // what does not hold; none means that the ledger is as it was written
}

const faultsShown = 20

// Fault adds what does not hold, as long as it would be shown.
func (p *Proof) Fault(format string, args ...any) {
	if len(p.Faults) <= faultsShown {
		p.Faults = append(p.Faults, fmt.Sprintf(format, args...))
	}
}

// Walk is the way through the chains of a ledger: first all events, then all seals,
// each in the order in which they were written.
type Walk struct {
	proof  *Proof
	key    *keyfile.Key
	head   string // noted elsewhere
	seen   bool   // it was met
	first  string // end of the chain of version 1
	number int64  // of the event or seal before
	last   map[string]Head
	sealed map[string]Head
	keyed  map[string][]int64 // by chain: events that only who has the key can write, looked for with it
	rows   map[string]string  // the digest said last of every row
}

// NewWalk begins a walk whose faults the proof takes. Without a key, marks of seals
// are not looked at; a head that was noted, when given, must be met.
func NewWalk(p *Proof, key *keyfile.Key, noted string) *Walk {
	return &Walk{proof: p, key: key, head: noted, seen: noted == "", last: map[string]Head{}, sealed: map[string]Head{}, keyed: map[string][]int64{}, rows: map[string]string{}}
}

// Rows are the digests that the events said last of every row, by its key.
func (w *Walk) Rows() map[string]string { return w.rows }

// Row is one row of a table, as the database gives it.
type Row interface{ Scan(to ...any) error }

// keyless reports whether the program also writes an event of a kind for who does
// not have the key.
func keyless(kind string) bool {
	switch kind {
	case "waived", "withdrawn", "decided", "purged":
		return true
	}
	return false
}

func (w *Walk) meet(hash string) { w.seen = w.seen || strings.EqualFold(hash, w.head) }

// follows holds the number of an event or seal against the one before.
func (w *Walk) follows(id int64, format string) {
	if w.number++; id != w.number {
		w.proof.Fault(format, id)
		w.number = id
	}
}

// First holds an event of version 1 against the one before: number, time, kind,
// subject, detail, hash.
func (w *Walk) First(row Row) error {
	var (
		id                                int64
		at, kind, subject, detail, stated string
	)
	if err := w.scan(row, "event of version 1", &id, &at, &kind, &subject, &detail, &stated); err != nil {
		return err
	}
	w.proof.Events++
	w.follows(id, "event %d of version 1: its number does not follow")
	if stated != Hash(w.first, at, kind, subject, detail) {
		w.proof.Fault("event %d of version 1: its hash does not follow from the event before and what it says", id)
	}
	w.first = stated
	w.meet(stated)
	w.hear(id, detail, &Detail{})
	return nil
}

// Event holds an event against the one before in its chain: number in the ledger,
// chain, number in it, time, kind, detail, hash.
func (w *Walk) Event(row Row) error {
	var (
		id, number                      int64
		study, at, kind, detail, stated string
		said                            Detail
	)
	if err := w.scan(row, "event", &id, &study, &number, &at, &kind, &detail, &stated); err != nil {
		return err
	}
	w.proof.Events++
	w.follows(id, "event %d: its number does not follow")
	before := w.last[study]
	if number != before.Number+1 {
		w.proof.Fault("event %d: its number does not follow in the chain of its study", id)
	}
	if stated != EventHash(before.Hash, study, number, at, kind, detail) {
		w.proof.Fault("event %d: its hash does not follow from the event before and what it says", id)
	}
	w.last[study] = Head{number, stated}
	if w.key != nil && !keyless(kind) {
		w.keyed[study] = append(w.keyed[study], number)
	}
	w.hear(id, detail, &said)
	if what := said.Note[NotHeld]; what != "" {
		w.proof.Fault("it did not hold when it was brought to this version: %s", what)
	}
	return nil
}

// Seal holds a seal against the one before: number, time, heads, hash, mark.
func (w *Walk) Seal(row Row) error {
	var (
		id                      int64
		at, heads, stated, mark string
		grown                   map[string]Head
	)
	if w.proof.Seals == 0 {
		w.proof.Head = w.first
	}
	if err := w.scan(row, "seal", &id, &at, &heads, &stated, &mark); err != nil {
		return err
	}
	w.proof.Seals++
	w.follows(id, "seal %d: its number does not follow")
	if stated != Hash(w.proof.Head, at, heads) {
		w.proof.Fault("seal %d: its hash does not follow from the seal before and what it says", id)
	}
	if err := json.Unmarshal([]byte(heads), &grown); err != nil {
		w.proof.Fault("seal %d: cannot be read", id)
	}
	w.marked(id, stated, mark, grown)
	maps.Copy(w.sealed, grown)
	w.proof.Head = stated
	w.meet(stated)
	return nil
}

// scan reads a row of numbers and texts. The driver would turn one into the other, and
// bytes into either, but what is no text is not found by one.
func (w *Walk) scan(row Row, what string, to ...any) error {
	values := make([]any, len(to))
	for i := range to {
		values[i] = new(any)
	}
	if err := row.Scan(values...); err != nil {
		return err
	}
	fits := true
	for i := range to {
		is := *values[i].(*any)
		switch into := to[i].(type) {
		case *int64:
			n, ok := is.(int64)
			*into, fits = n, fits && ok
		case *string:
			s, ok := is.(string)
			*into, fits = s, fits && ok
		}
	}
	if !fits {
		w.proof.Fault("%s %v: a column holds another kind of value than is written there", what, *values[0].(*any))
	}
	return nil
}

// hear takes in what an event says of rows.
func (w *Walk) hear(id int64, detail string, said *Detail) {
	if err := json.Unmarshal([]byte(detail), said); err != nil {
		w.proof.Fault("event %d: cannot be read", id)
	}
	maps.Copy(w.rows, said.Rows)
}

// Cut finds a tail of a table that was cut off by how many numbers the database gave
// out for it. The next row begins to count anew.
func (w *Walk) Cut(table string, given int64) {
	if given != w.number {
		w.proof.Fault("%ss: %d were written, the last that is there is %d", table, given, w.number)
	}
	w.number = 0
}

// Sealed holds the last event of every chain against what was sealed last, after the
// last seal.
func (w *Walk) Sealed() {
	if w.proof.Seals == 0 {
		w.proof.Head = w.first
	}
	for study, h := range w.last {
		if w.sealed[study] != h {
			w.proof.Fault("%s: its chain does not end as it was sealed", named(study))
		}
		delete(w.sealed, study)
	}
	for study := range w.sealed {
		w.proof.Fault("%s: its chain is gone", named(study))
	}
}

// Met tells, at the end, whether the head that was noted was not there.
func (w *Walk) Met() {
	if !w.seen {
		w.proof.Fault("the head given is not in the chain: events were cut off or written anew")
	}
}

// marked holds the mark of a seal against the key. One without a mark may hold only
// what is also written without the key: who rewrites a ledger has none.
func (w *Walk) marked(id int64, hash, mark string, grown map[string]Head) {
	switch {
	case w.key == nil:
	case mark != "" && mark == w.key.Mark(hash):
		w.proof.Marked++
	case mark != "":
		w.proof.Fault("seal %d: it was not made with the key", id)
	default:
		for study, h := range grown {
			if slices.ContainsFunc(w.keyed[study], func(n int64) bool { return n > w.sealed[study].Number && n <= h.Number }) {
				w.proof.Fault("seal %d: it holds what only who has the key can write, and was made without it", id)
				return
			}
		}
	}
}

func named(study string) string {
	if study == "" {
		return "what is of no study"
	}
	return "study " + study
}
