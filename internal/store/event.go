package store

import (
	"bytes"
	"database/sql"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"echotally/internal/store/proof"
)

// kept is a table whose rows the events answer for. The first column of the
// query is the key.
type kept struct {
	name  string
	query string // with %s where a condition on the key goes
	key   string
	since int  // schema version that made it; 0 for the first
	spare bool // a row that no event tells of does no harm
}

// digests gives the digest of every row of the table, or of the one with the key.
func (k kept) digests(v *view, key any, each func(key, digest string)) error {
	condition, args := "", []any(nil)
	if key != nil {
		condition, args = " WHERE "+k.key+" = ?", []any{key}
		if kind, ref, two := strings.Cut(fmt.Sprint(key), ":"); two && k.name == "identity" {
			args = []any{kind, ref}
		}
	}
	return v.rows(fmt.Sprintf(k.query, condition), args, func(rows *sql.Rows) error {
		columns, err := rows.Columns()
		if err != nil {
			return err
		}
		values, to := make([]any, len(columns)), make([]any, len(columns))
		for i := range values {
			to[i] = &values[i]
		}
		if err := rows.Scan(to...); err != nil {
			return err
		}
		each(fmt.Sprintf("%s:%v", k.name, values[0]), proof.Digest(values[1:]))
		return nil
	})
}

// touched is a row that the next event answers for.
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

// event closes a piece of work with a line in the chain of a study, "" for what
// is of none.
func (t *tx) event(study, kind string, note map[string]string) error {
	detail := proof.Detail{Rows: map[string]string{}, Note: note}
	for _, row := range t.touched {
		i := slices.IndexFunc(keptTables, func(k kept) bool { return k.name == row.table })
		detail.Rows[fmt.Sprintf("%s:%v", row.table, row.key)] = ""
		if err := keptTables[i].digests(&t.view, row.key, func(key, digest string) { detail.Rows[key] = digest }); err != nil {
			return err
		}
	}
	t.touched = nil
	return t.say(study, kind, detail)
}

// say adds an event to its chain.
func (t *tx) say(study, kind string, detail proof.Detail) error {
	var text bytes.Buffer
	encoder := json.NewEncoder(&text)
	encoder.SetEscapeHTML(false)
	if err := encoder.Encode(detail); err != nil {
		return err
	}
	said := strings.TrimSuffix(text.String(), "\n")
	at, own := t.heads[study]
	if !own {
		if _, err := t.row(sqlHead, []any{study}, &at.Number, &at.Hash); err != nil {
			return err
		}
	}
	next := proof.Head{Number: at.Number + 1, Hash: proof.EventHash(at.Hash, study, at.Number+1, t.now, kind, said)}
	t.heads[study] = next
	return t.run(sqlAddEvent, study, next.Number, t.now, kind, said, next.Hash)
}

// version is the hash of the last event of a study's chain, "" before the first.
func (v *view) version(study string) (string, error) {
	var h proof.Head
	_, err := v.row(sqlHead, []any{study}, &h.Number, &h.Hash)
	return h.Hash, err
}
