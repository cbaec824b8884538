package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"time"

	"echotally/internal/store/decision"
)

// Decide adds a decision. What it is may follow from those of its kind before,
// which nobody else adds to meanwhile; an error of make adds nothing.
func (s *Store) Decide(ctx context.Context, kind string, make func(before []decision.Decision) (any, error)) (decision.Decision, error) {
	d := decision.Decision{Kind: kind}
	err := s.write(ctx, "record "+kind, func(t *tx) error {
		before, err := t.decisions(kind)
		if err != nil {
			return err
		}
		body, err := make(before)
		if err != nil {
			return err
		}
		if d.Body, err = json.Marshal(body); err != nil {
			return err
		}
		if d.At, err = time.Parse(time.RFC3339, t.now); err != nil {
			return err
		}
		if d.Number, err = t.insert(sqlAddDecision, kind, t.now, string(d.Body)); err != nil {
			return err
		}
		t.touch("decision", d.Number)
		return t.event("", "decided", map[string]string{"kind": kind})
	})
	return d, err
}

// Decisions are those of a kind in the order in which they were made.
func (s *Store) Decisions(ctx context.Context, kind string) ([]decision.Decision, error) {
	var out []decision.Decision
	err := s.look(ctx, func(v *view) (err error) {
		out, err = v.decisions(kind)
		return err
	})
	return out, s.wrap("read "+kind, err)
}

func (v *view) decisions(kind string) ([]decision.Decision, error) {
	var out []decision.Decision
	err := v.rows(sqlDecisions, []any{kind}, func(rows *sql.Rows) error {
		d := decision.Decision{Kind: kind}
		var at, body string
		if err := rows.Scan(&d.Number, &at, &body); err != nil {
			return err
		}
		var err error
		d.At, err = time.Parse(time.RFC3339, at)
		d.Body = []byte(body)
		out = append(out, d)
		return err
	})
	return out, err
}
