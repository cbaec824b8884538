package store

import (
	"context"
	"database/sql"
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

func (p *Proof) fault(format string, args ...any) {
	if len(p.Faults) <= faultsShown {
		p.Faults = append(p.Faults, fmt.Sprintf(format, args...))
	}
}

// Verify proves that the ledger is as it was written: the file is sound, its
// tables and triggers are those this program makes, every event follows from the
// one before in its chain, the seals follow from each other and hold the end of
// every chain, and every row is what the last event that touched it says. With
// the key it is also proved that who had it made the seals of all that only they
// can write. A head noted earlier, when given, must be there.
func (s *Store) Verify(ctx context.Context, noted string) (*Proof, error) {
	var p *Proof
	err := s.look(ctx, func(v *view) (err error) { // one moment of the ledger throughout
		p, err = s.prove(ctx, v, noted)
		return err
	})
	if err != nil {
		return nil, s.wrap("verify ledger", err)
	}
	return p, nil
}

func (s *Store) prove(ctx context.Context, v *view, noted string) (*Proof, error) {
	p := &Proof{}
	var sound string
	if _, err := v.row(sqlSound, nil, &sound); err != nil {
		return nil, err
	}
	if sound != "ok" {
		p.fault("the database file is damaged: %s", sound)
	}
	if err := p.schema(ctx, v); err != nil {
		return nil, err
	}
	c := &chains{proof: p, key: s.key, head: noted, seen: noted == "", last: map[string]head{}, sealed: map[string]head{}, keyed: map[string][]int64{}, rows: map[string]string{}}
	otherwise := len(p.Faults) > 0
	err := c.walk(v)
	if err == nil {
		err = p.rows(v, c.rows)
	}
	if err == nil {
		err = p.parts(v)
	}
	if err != nil && otherwise { // no table is read whose columns are others
		p.fault("what it holds cannot be read")
		err = ctx.Err()
	}
	slices.Sort(p.Faults)
	return p, err
}

// rows holds every row against what the events say of it.
func (p *Proof) rows(v *view, said map[string]string) error {
	for _, k := range keptTables {
		err := k.digests(v, nil, func(key, digest string) {
			p.Rows++
			switch known, ok := said[key]; {
			case (!ok || known == "") && k.spare:
			case !ok || known == "":
				p.fault("%s: no event says anything of this row", key)
			case known != digest:
				p.fault("%s: the row is not as the events say", key)
			}
			delete(said, key)
		})
		if err != nil {
			return err
		}
	}
	for key, digest := range said {
		if digest != "" {
			p.fault("%s: the row is gone", key)
		}
	}
	return nil
}

// schema holds tables, indexes and triggers against those of a new ledger.
func (p *Proof) schema(ctx context.Context, v *view) error {
	is, err := schemaOf(v)
	if err != nil {
		return err
	}
	want, err := freshSchema(ctx)
	if err != nil {
		return err
	}
	for _, name := range slices.Sorted(maps.Keys(want)) {
		switch text, ok := is[name]; {
		case !ok:
			p.fault("the %s is gone", name)
		case text != want[name]:
			p.fault("the %s is not as this program makes it", name)
		}
		delete(is, name)
	}
	for _, name := range slices.Sorted(maps.Keys(is)) {
		p.fault("the %s was added", name)
	}
	return nil
}

func schemaOf(v *view) (map[string]string, error) {
	out := map[string]string{}
	return out, v.rows(sqlSchema, nil, func(rows *sql.Rows) error {
		var name, text string
		err := rows.Scan(&name, &text)
		out[name] = strings.Join(strings.Fields(text), " ")
		return err
	})
}

// chains are the chains of a ledger on the way through them.
type chains struct {
	proof  *Proof
	key    *keyfile.Key
	head   string // noted elsewhere
	seen   bool   // it was met
	first  string // end of the chain of version 1
	last   map[string]head
	sealed map[string]head
	keyed  map[string][]int64 // by chain: events that only who has the key can write, looked for with it
	rows   map[string]string  // the digest said last of every row
}

// keyless reports whether the program also writes an event of a kind for who does
// not have the key.
func keyless(kind string) bool {
	switch kind {
	case "waived", "withdrawn", "decided", "purged":
		return true
	}
	return false
}

func (c *chains) meet(hash string) { c.seen = c.seen || strings.EqualFold(hash, c.head) }

// walk goes through the chain of version 1, the events and the seals.
func (c *chains) walk(v *view) error {
	if err := c.firstChain(v); err != nil {
		return err
	}
	if err := c.events(v); err != nil {
		return err
	}
	if err := c.seals(v); err != nil {
		return err
	}
	if !c.seen {
		c.proof.fault("the head given is not in the chain: events were cut off or written anew")
	}
	return nil
}

// events holds each event against the one before in its chain.
func (c *chains) events(v *view) error {
	var last int64
	err := v.rows(sqlEvents, nil, func(rows *sql.Rows) error {
		var (
			id, number                      int64
			study, at, kind, detail, stated string
			said                            eventDetail
		)
		if err := c.scan(rows, "event", &id, &study, &number, &at, &kind, &detail, &stated); err != nil {
			return err
		}
		c.proof.Events++
		if last++; id != last {
			c.proof.fault("event %d: its number does not follow", id)
			last = id
		}
		before := c.last[study]
		if number != before.Number+1 {
			c.proof.fault("event %d: its number does not follow in the chain of its study", id)
		}
		if stated != hashOf(before.Hash, study, number, at, kind, detail) {
			c.proof.fault("event %d: its hash does not follow from the event before and what it says", id)
		}
		c.last[study] = head{number, stated}
		if c.key != nil && !keyless(kind) {
			c.keyed[study] = append(c.keyed[study], number)
		}
		c.hear(id, detail, &said)
		if what := said.Note[notHeld]; what != "" {
			c.proof.fault("it did not hold when it was brought to this version: %s", what)
		}
		return nil
	})
	if err != nil {
		return err
	}
	return c.cut(v, "event", last)
}

// scan reads a row of numbers and texts. The driver would turn one into the other, and
// bytes into either, but what is no text is not found by one.
func (c *chains) scan(rows *sql.Rows, what string, to ...any) error {
	values := make([]any, len(to))
	for i := range to {
		values[i] = new(any)
	}
	if err := rows.Scan(values...); err != nil {
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
		c.proof.fault("%s %v: a column holds another kind of value than is written there", what, *values[0].(*any))
	}
	return nil
}

// hear takes in what an event says of rows.
func (c *chains) hear(id int64, detail string, said *eventDetail) {
	if err := json.Unmarshal([]byte(detail), said); err != nil {
		c.proof.fault("event %d: cannot be read", id)
	}
	maps.Copy(c.rows, said.Rows)
}

// cut finds a tail that was cut off by the numbers the database gave out.
func (c *chains) cut(v *view, table string, last int64) error {
	given, err := v.integer(sqlGivenUpTo, table)
	if err == nil && int64(given) != last {
		c.proof.fault("%ss: %d were written, the last that is there is %d", table, given, last)
	}
	return err
}

// seals holds each seal against the one before, and the last event of every
// chain against what was sealed last.
func (c *chains) seals(v *view) error {
	c.proof.Head = c.first
	var last int64
	err := v.rows(sqlSeals, nil, func(rows *sql.Rows) error {
		var (
			id                      int64
			at, heads, stated, mark string
			grown                   map[string]head
		)
		if err := c.scan(rows, "seal", &id, &at, &heads, &stated, &mark); err != nil {
			return err
		}
		c.proof.Seals++
		if last++; id != last {
			c.proof.fault("seal %d: its number does not follow", id)
			last = id
		}
		if stated != chain(c.proof.Head, at, heads) {
			c.proof.fault("seal %d: its hash does not follow from the seal before and what it says", id)
		}
		if err := json.Unmarshal([]byte(heads), &grown); err != nil {
			c.proof.fault("seal %d: cannot be read", id)
		}
		c.marked(id, stated, mark, grown)
		maps.Copy(c.sealed, grown)
		c.proof.Head = stated
		c.meet(stated)
		return nil
	})
	if err != nil {
		return err
	}
	for study, h := range c.last {
		if c.sealed[study] != h {
			c.proof.fault("%s: its chain does not end as it was sealed", named(study))
		}
		delete(c.sealed, study)
	}
	for study := range c.sealed {
		c.proof.fault("%s: its chain is gone", named(study))
	}
	return c.cut(v, "seal", last)
}

// marked holds the mark of a seal against the key. One without a mark may hold only
// what is also written without the key: who rewrites a ledger has none.
func (c *chains) marked(id int64, hash, mark string, grown map[string]head) {
	switch {
	case c.key == nil:
	case mark != "" && mark == c.key.Mark(hash):
		c.proof.Marked++
	case mark != "":
		c.proof.fault("seal %d: it was not made with the key", id)
	default:
		for study, h := range grown {
			if slices.ContainsFunc(c.keyed[study], func(n int64) bool { return n > c.sealed[study].Number && n <= h.Number }) {
				c.proof.fault("seal %d: it holds what only who has the key can write, and was made without it", id)
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
