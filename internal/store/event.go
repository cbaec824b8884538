package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
)

// kept is a table whose rows the events answer for. The first column of the
// query is the key; rows with the same key are taken together.
type kept struct {
	name  string
	query string // with %s where a condition on the key goes
	key   string
}

var keptTables = []kept{
	{"meta", "SELECT name, value FROM meta%s ORDER BY name", "name"},
	{"identity", "SELECT kind || ':' || ref, lookup, sealed FROM identity%s ORDER BY kind, ref", "kind || ':' || ref"},
	{"study", "SELECT uid, date, station, facts, packed, digest FROM study%s ORDER BY uid", "uid"},
	{"object", `SELECT o.sha256, o.sop_uid, o.sop_class, coalesce(s.uid, ''), o.image, o.state, o.reason, o.at
		FROM object o LEFT JOIN study s ON s.id = o.study_id%s ORDER BY o.sha256`, "o.sha256"},
	{"reading", `SELECT r.id, o.sha256, r.reader, r.content, r.packed
		FROM reading r JOIN object o ON o.id = r.object_id%s ORDER BY r.id`, "r.id"},
	{"ruleset", `SELECT s.digest, s.version, r.identifier, r.detail
		FROM ruleset s LEFT JOIN rule r ON r.ruleset_id = s.id%s ORDER BY s.digest, r.identifier`, "s.digest"},
	{"judgement", `SELECT j.id, s.uid, rs.digest, j.digest, j.at, j.detail, j.outcomes, ru.identifier, r.detail
		FROM judgement j JOIN study s ON s.id = j.study_id JOIN ruleset rs ON rs.id = j.ruleset_id
		LEFT JOIN result r ON r.judgement_id = j.id LEFT JOIN rule ru ON ru.id = r.rule_id%s ORDER BY j.id, ru.identifier`, "j.id"},
	{"waiver", "SELECT id, study, rule, reason, effect, role, at, late, withdraws FROM waiver%s ORDER BY id", "id"},
	{"stamp", "SELECT id, study, lookup, setting, ended, read, signed, at FROM stamp%s ORDER BY id", "id"},
	{"staff", "SELECT pseudonym, role FROM staff%s ORDER BY pseudonym", "pseudonym"},
	{"station", "SELECT name, lab, site, timezone FROM station%s ORDER BY name", "name"},
}

// querier is what reads rows: a transaction or a connection.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

// digests gives the digest of every row of the table, or of those with the key.
func (k kept) digests(ctx context.Context, q querier, key any, each func(key, digest string)) error {
	condition, args := "", []any(nil)
	if key != nil {
		condition, args = " WHERE "+k.key+" = ?", []any{key}
	}
	rows, err := q.QueryContext(ctx, fmt.Sprintf(k.query, condition), args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		return err
	}
	values, to := make([]sql.RawBytes, len(columns)), make([]any, len(columns))
	for i := range values {
		to[i] = &values[i]
	}
	current, hash := "", sha256.New()
	end := func() {
		if current != "" {
			each(k.name+":"+current, hex.EncodeToString(hash.Sum(nil)))
		}
	}
	for rows.Next() {
		if err := rows.Scan(to...); err != nil {
			return err
		}
		if string(values[0]) != current {
			end()
			current = string(values[0])
			hash.Reset()
		}
		for _, v := range values[1:] {
			if v == nil {
				hash.Write([]byte("-"))
				continue
			}
			fmt.Fprintf(hash, "%d:", len(v))
			hash.Write(v)
		}
	}
	end()
	return rows.Err()
}

// touched is a row that the event at the end of the transaction answers for.
type touched struct {
	table string
	key   any
}

// touch notes that a row was added or changed.
func (t *tx) touch(table string, key any) {
	row := touched{table, key}
	if !slices.Contains(t.touched, row) {
		t.touched = append(t.touched, row)
	}
}

// eventDetail is what an event says: the digest of every row it touched, ""
// for one that was removed, and a few words.
type eventDetail struct {
	Rows map[string]string `json:"rows,omitempty"`
	Note map[string]string `json:"note,omitempty"`
}

// event closes the transaction's work with a line in the chain.
func (t *tx) event(kind, subject string, note map[string]string) error {
	detail := eventDetail{Rows: map[string]string{}, Note: note}
	for _, row := range t.touched {
		i := slices.IndexFunc(keptTables, func(k kept) bool { return k.name == row.table })
		detail.Rows[fmt.Sprintf("%s:%v", row.table, row.key)] = ""
		if err := keptTables[i].digests(t.ctx, t.sql, row.key, func(key, digest string) { detail.Rows[key] = digest }); err != nil {
			return err
		}
	}
	t.touched = nil
	text, err := json.Marshal(detail)
	if err != nil {
		return err
	}
	var before string
	if _, err := t.row("SELECT hash FROM event ORDER BY id DESC LIMIT 1", nil, &before); err != nil {
		return err
	}
	return t.run("INSERT INTO event (at, kind, subject, detail, hash) VALUES (?, ?, ?, ?, ?)",
		t.now, kind, subject, string(text), chain(before, t.now, kind, subject, string(text)))
}

// chain gives the hash of an event from the one before it and what it says.
func chain(parts ...string) string {
	h := sha256.New()
	for _, p := range parts {
		fmt.Fprintf(h, "%d:%s", len(p), p)
	}
	return hex.EncodeToString(h.Sum(nil))
}

// Proof is what verifying a ledger came to.
type Proof struct {
	Events int
	Rows   int
	Head   string   // hash of the last event: noted elsewhere, it also proves that nothing was cut off
	Faults []string // what does not hold; none means that the ledger is as it was written
}

const faultsShown = 20

func (p *Proof) fault(format string, args ...any) {
	if len(p.Faults) <= faultsShown {
		p.Faults = append(p.Faults, fmt.Sprintf(format, args...))
	}
}

// Verify proves that the ledger is as it was written: the file is sound, every
// event follows from the one before, and every row is what the last event that
// touched it says. A head noted earlier, when given, must be in the chain.
func (s *Store) Verify(ctx context.Context, head string) (*Proof, error) {
	p := &Proof{}
	var sound string
	if err := s.view.QueryRowContext(ctx, "PRAGMA integrity_check(1)").Scan(&sound); err != nil {
		return nil, s.wrap("verify ledger", err)
	}
	if sound != "ok" {
		p.fault("the database file is damaged: %s", sound)
	}
	begun, err := s.view.BeginTx(ctx, &sql.TxOptions{ReadOnly: true}) // one state of the ledger throughout
	if err != nil {
		return nil, s.wrap("verify ledger", err)
	}
	defer begun.Rollback()
	rows, err := p.chain(ctx, begun, head)
	if err != nil {
		return nil, s.wrap("verify ledger", err)
	}
	for _, k := range keptTables {
		err := k.digests(ctx, begun, nil, func(key, digest string) {
			p.Rows++
			switch known, ok := rows[key]; {
			case !ok || known == "":
				p.fault("%s: no event tells of this row", key)
			case known != digest:
				p.fault("%s: the row is not as the events say", key)
			}
			delete(rows, key)
		})
		if err != nil {
			return nil, s.wrap("verify ledger", err)
		}
	}
	for key, digest := range rows {
		if digest != "" {
			p.fault("%s: the row is gone", key)
		}
	}
	slices.Sort(p.Faults)
	return p, nil
}

// chain walks the events and gives what they say last of every row.
func (p *Proof) chain(ctx context.Context, q querier, head string) (map[string]string, error) {
	events, err := q.QueryContext(ctx, "SELECT id, at, kind, subject, detail, hash FROM event ORDER BY id")
	if err != nil {
		return nil, err
	}
	defer events.Close()
	rows, seen := map[string]string{}, head == ""
	for events.Next() {
		var (
			id                                int
			at, kind, subject, detail, stated string
			said                              eventDetail
		)
		if err := events.Scan(&id, &at, &kind, &subject, &detail, &stated); err != nil {
			return nil, err
		}
		p.Events++
		if id != p.Events {
			p.fault("event %d: its number does not follow", id)
		}
		if stated != chain(p.Head, at, kind, subject, detail) {
			p.fault("event %d: its hash does not follow from the event before and what it says", id)
		}
		if err := json.Unmarshal([]byte(detail), &said); err != nil {
			p.fault("event %d: cannot be read", id)
		}
		for key, digest := range said.Rows {
			rows[key] = digest
		}
		p.Head = stated
		seen = seen || strings.EqualFold(stated, head)
	}
	if !seen {
		p.fault("the head given is not in the chain: events were cut off or written anew")
	}
	return rows, events.Err()
}
