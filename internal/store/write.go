package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"sync"
	"time"

	"echotally/internal/store/fault"
	"echotally/internal/store/proof"
)

// statements are prepared once.
type statements struct {
	lock  sync.Mutex
	known map[string]*sql.Stmt
}

func (s *statements) of(query string, prepare func() (*sql.Stmt, error)) (*sql.Stmt, error) {
	s.lock.Lock()
	defer s.lock.Unlock()
	if known := s.known[query]; known != nil {
		return known, nil
	}
	made, err := prepare()
	if err == nil {
		if s.known == nil {
			s.known = map[string]*sql.Stmt{}
		}
		s.known[query] = made
	}
	return made, err
}

func (s *statements) close() {
	s.lock.Lock()
	defer s.lock.Unlock()
	for _, one := range s.known {
		one.Close()
	}
	s.known = nil
}

// view is one moment of the ledger.
type view struct {
	ctx       context.Context
	statement func(query string) (*sql.Stmt, error)
	sets      *ruleSets // that were read before, nil where each is read anew
}

// look runs work on one moment of the ledger.
func (s *Store) look(ctx context.Context, do func(*view) error) error {
	begun, err := s.view.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return err
	}
	defer begun.Rollback()
	return do(&view{ctx, func(query string) (*sql.Stmt, error) {
		made, err := s.viewed.of(query, func() (*sql.Stmt, error) { return s.view.PrepareContext(ctx, query) })
		if err != nil {
			return nil, err
		}
		return begun.StmtContext(ctx, made), nil
	}, &s.sets})
}

// rows calls each for every row.
func (v *view) rows(query string, args []any, each func(*sql.Rows) error) error {
	stmt, err := v.statement(query)
	if err != nil {
		return err
	}
	rows, err := stmt.QueryContext(v.ctx, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := each(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

// row reads one row; false when there is none.
func (v *view) row(query string, args []any, to ...any) (bool, error) {
	stmt, err := v.statement(query)
	if err != nil {
		return false, err
	}
	err = stmt.QueryRowContext(v.ctx, args...).Scan(to...)
	if errors.Is(err, sql.ErrNoRows) {
		return false, nil
	}
	return err == nil, err
}

func (v *view) integer(query string, args ...any) (int, error) {
	var n int
	_, err := v.row(query, args, &n)
	return n, err
}

// column reads a column of numbers or texts.
func column[T any](v *view, query string, args ...any) ([]T, error) {
	var out []T
	err := v.rows(query, args, func(rows *sql.Rows) error {
		var one T
		err := rows.Scan(&one)
		out = append(out, one)
		return err
	})
	return out, err
}

// work is something to be written whole or not at all.
type work struct {
	ctx  context.Context
	do   func(*tx) error
	err  error
	done bool
}

// tx is a transaction in which something is written.
type tx struct {
	view
	store   *Store
	now     string
	touched []touched             // rows the next event answers for
	heads   map[string]proof.Head // of the chains that grew, for the seal
	added   []string              // parts

	ruleSets []*ruleList // that were read
}

// write does the work in a transaction: all of it is on disk when write returns
// nil, else nothing.
func (s *Store) write(ctx context.Context, doing string, do func(*tx) error) error {
	own := &work{ctx: ctx, do: do}
	s.writeAll(doing, own)
	return own.err
}

// writeAll does works in one transaction, in their order, and leaves with each
// what came of it. What waits while others' work is brought to the disk is written
// together after it.
func (s *Store) writeAll(doing string, works ...*work) {
	if s.db == nil {
		for _, one := range works {
			one.err = &fault.Error{Doing: doing, Reason: "the ledger was opened read-only"}
		}
		return
	}
	if len(works) == 0 {
		return
	}
	s.lock.Lock()
	s.waiting = append(s.waiting, works...)
	s.lock.Unlock()
	s.turn.Lock()
	defer s.turn.Unlock()
	if !works[0].done { // else somebody took them along
		s.lock.Lock()
		batch := s.waiting
		s.waiting = nil
		s.lock.Unlock()
		s.together(batch)
	}
	for _, one := range works {
		one.err = s.wrap(doing, one.err)
	}
}

// together does several works in one transaction. One that fails leaves the
// others as they are; when the transaction does, none is written.
func (s *Store) together(batch []*work) {
	err := s.commit(batch)
	for _, one := range batch {
		one.done = true
		if one.err == nil {
			one.err = err
		}
	}
}

func (s *Store) commit(batch []*work) error {
	// One who gives up must not undo the work of the others.
	ctx := context.WithoutCancel(batch[0].ctx)
	t := &tx{store: s, now: s.now().UTC().Format(time.RFC3339)}
	t.view = view{ctx: ctx, statement: func(query string) (*sql.Stmt, error) {
		return s.written.of(query, func() (*sql.Stmt, error) { return s.conn.PrepareContext(ctx, query) })
	}}
	if err := t.run(sqlBegin); err != nil {
		return err
	}
	err := t.all(batch)
	if err == nil {
		err = t.run(sqlCommit)
	}
	if err != nil {
		_ = t.run(sqlRollback) // fails when the database has undone all already
		return err
	}
	for _, name := range t.added {
		s.held[name] = true
	}
	for _, known := range t.ruleSets {
		s.ruleSets[known.digest] = known
	}
	return nil
}

func (t *tx) all(batch []*work) error {
	for _, one := range batch {
		if one.err = one.ctx.Err(); one.err != nil {
			continue
		}
		if err := t.one(one); err != nil {
			return err
		}
	}
	return t.seal()
}

// one does one work; an error means that the transaction cannot go on.
func (t *tx) one(w *work) error {
	if err := t.run(sqlSavepoint); err != nil {
		return err
	}
	before, added := t.heads, len(t.added)
	t.touched, t.heads = nil, map[string]proof.Head{}
	if w.err = w.do(t); w.err != nil {
		t.heads, t.added = before, t.added[:added]
		if err := t.run(sqlUndo); err != nil {
			return w.err // the database has undone all
		}
		return nil
	}
	for chain, h := range before {
		if _, ok := t.heads[chain]; !ok {
			t.heads[chain] = h
		}
	}
	return t.run(sqlKeep)
}

// seal chains the heads of the chains that grew.
func (t *tx) seal() error {
	if len(t.heads) == 0 {
		return nil
	}
	heads, err := json.Marshal(t.heads)
	if err != nil {
		return err
	}
	before, err := t.lastSeal()
	if err != nil {
		return err
	}
	hash := proof.Hash(before, t.now, string(heads))
	return t.run(sqlAddSeal, t.now, string(heads), hash, t.store.key.Mark(hash))
}

// lastSeal is what the next seal follows from: the seal before, or the end of the
// chain of version 1.
func (t *tx) lastSeal() (string, error) {
	var before string
	known, err := t.row(sqlLastSeal, nil, &before)
	if err == nil && !known {
		_, err = t.row(firstLastEvent, nil, &before)
	}
	return before, err
}

// run executes statements that give no rows; several without arguments may
// stand in one text.
func (t *tx) run(query string, args ...any) error {
	_, err := t.insert(query, args...)
	return err
}

// insert executes a statement and gives the number of the row it added.
func (t *tx) insert(query string, args ...any) (int64, error) {
	var (
		result sql.Result
		err    error
	)
	if len(args) == 0 {
		result, err = t.store.conn.ExecContext(t.ctx, query)
	} else {
		var stmt *sql.Stmt
		if stmt, err = t.statement(query); err != nil {
			return 0, err
		}
		result, err = stmt.ExecContext(t.ctx, args...)
	}
	if err != nil {
		return 0, err
	}
	return result.LastInsertId()
}
