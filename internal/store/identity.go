package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"slices"

	"echotally/internal/echo"
)

// identity is who a study is of, as its objects say. More than one value means
// that they do not agree.
type identity struct {
	PatientName, PatientID, AccessionNumber, BirthDate []string
	IssuerOfPatientID                                  []string `json:",omitempty"`
}

// add takes in what a report says; it tells whether anything was new.
func (i *identity) add(e echo.Identity) (changed bool) {
	for _, f := range []struct {
		to   *[]string
		from echo.Protected
	}{{&i.PatientName, e.PatientName}, {&i.PatientID, e.PatientID}, {&i.AccessionNumber, e.AccessionNumber}, {&i.BirthDate, e.BirthDate}, {&i.IssuerOfPatientID, e.IssuerOfPatientID}} {
		if text := f.from.Reveal(); text != "" && !slices.Contains(*f.to, text) {
			*f.to, changed = append(*f.to, text), true
		}
	}
	return changed
}

func (i *identity) first() echo.Identity {
	first := func(list []string) echo.Protected {
		if len(list) == 0 {
			return ""
		}
		return echo.Protected(list[0])
	}
	return echo.Identity{PatientName: first(i.PatientName), PatientID: first(i.PatientID), AccessionNumber: first(i.AccessionNumber), BirthDate: first(i.BirthDate), IssuerOfPatientID: first(i.IssuerOfPatientID)}
}

// names are the texts that name the person; whose number the ID is does not.
func (i *identity) names() []string {
	return slices.Concat(i.PatientName, i.PatientID, i.AccessionNumber, i.BirthDate)
}

// seal puts a text under the key. The kind and reference are sealed with it, so
// that a row cannot be moved to another study.
func (s *Store) seal(t *tx, kind, ref, lookup, text string) error {
	if s.key == nil {
		return errNoKey
	}
	sealed := s.key.seal.Seal(nil, nil, []byte(text), []byte(kind+":"+ref))
	t.touch("identity", kind+":"+ref)
	return t.run(`INSERT INTO identity (kind, ref, lookup, sealed) VALUES (?, ?, ?, ?)
		ON CONFLICT DO UPDATE SET lookup = excluded.lookup, sealed = excluded.sealed`, kind, ref, lookup, sealed)
}

var errNoKey = &Error{Doing: "open identity", Reason: "it is sealed and no key was given", Hint: "name the key file with --key"}

// unseal opens what was sealed; "" when there is nothing.
func (s *Store) unseal(ctx context.Context, q rowQuerier, kind, ref string) (string, error) {
	var sealed []byte
	err := q.QueryRowContext(ctx, "SELECT sealed FROM identity WHERE kind = ? AND ref = ?", kind, ref).Scan(&sealed)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return "", nil
	case err != nil:
		return "", err
	case s.key == nil:
		return "", errNoKey
	}
	text, err := s.key.seal.Open(nil, nil, sealed, []byte(kind+":"+ref))
	if err != nil {
		return "", &Error{Doing: "open identity", Reason: "the sealed text was changed, or sealed with another key", Hint: "echotally ledger verify tells which"}
	}
	return string(text), nil
}

// rowQuerier reads one row: a transaction or the database.
type rowQuerier interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// Identity gives who a study is of. It needs the key.
func (s *Store) Identity(ctx context.Context, uid string) (echo.Identity, error) {
	who, err := s.identity(ctx, s.view, uid)
	return who.first(), s.wrap("open identity", err)
}

func (s *Store) identity(ctx context.Context, q rowQuerier, uid string) (identity, error) {
	var who identity
	text, err := s.unseal(ctx, q, "study", uid)
	if err == nil && text != "" {
		err = json.Unmarshal([]byte(text), &who)
	}
	return who, err
}

// identify adds what a study's reports say of its patient, and ties to the
// study what came earlier under its accession number.
func (s *Store) identify(t *tx, uid string, reports []*echo.Study) (identity, error) {
	who, err := s.identity(t.ctx, t.sql, uid)
	if err != nil {
		return who, err
	}
	changed := false
	for _, r := range reports {
		changed = who.add(r.Identity) || changed
	}
	if err := s.tie(t, uid, who.first()); err != nil || !changed {
		return who, err
	}
	text, err := json.Marshal(who)
	if err != nil {
		return who, err
	}
	lookup := s.key.lookup(who.first().AccessionNumber.Reveal())
	if err := s.seal(t, "study", uid, lookup, string(text)); err != nil || lookup == "" {
		return who, err
	}
	waiting, err := t.numbers("SELECT id FROM stamp WHERE study = '' AND lookup = ?", lookup)
	if err != nil {
		return who, err
	}
	for _, id := range waiting {
		t.touch("stamp", id)
		if err := t.run("UPDATE stamp SET study = ? WHERE id = ?", uid, id); err != nil {
			return who, err
		}
	}
	return who, nil
}

// numbers reads a column of numbers.
func (t *tx) numbers(query string, args ...any) ([]int64, error) {
	return column[int64](t, query, args...)
}

// texts reads a column of texts.
func (t *tx) texts(query string, args ...any) ([]string, error) {
	return column[string](t, query, args...)
}

func column[T any](t *tx, query string, args ...any) ([]T, error) {
	rows, err := t.sql.QueryContext(t.ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []T
	for rows.Next() {
		var v T
		if err := rows.Scan(&v); err != nil {
			return nil, err
		}
		out = append(out, v)
	}
	return out, rows.Err()
}
