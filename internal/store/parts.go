package store

import (
	"database/sql"
	"errors"
	"fmt"

	"echotally/internal/packed"
	"echotally/internal/packed/first"
	"echotally/internal/store/form"
	"echotally/internal/store/proof"
)

// fetchPart gives what is kept of a part.
func (s *Store) fetchPart(name string) ([]byte, error) {
	var out []byte
	err := s.view.QueryRow(sqlPart, []byte(name)).Scan(&out)
	if errors.Is(err, sql.ErrNoRows) {
		err = fmt.Errorf("%w: a part of it is gone", packed.ErrDamaged)
	}
	return out, err
}

// keepParts adds the parts that the ledger does not hold yet. What this process
// has seen in it is not asked for again, unless a purge, which adds to the chain of
// what is of no study, may have swept it.
func (t *tx) keepParts(parts map[string][]byte) error {
	swept, err := t.integer(sqlSwept)
	if err != nil {
		return err
	}
	s := t.store
	if s.swept != swept || s.held == nil {
		s.swept, s.held = swept, map[string]bool{}
	}
	for name, part := range parts {
		if s.held[name] {
			continue
		}
		if err := t.run(sqlAddPart, []byte(name), part); err != nil {
			return err
		}
		t.added = append(t.added, name)
	}
	return nil
}

// sweepParts takes out the parts that nothing is made of any more.
func (t *tx) sweepParts() error {
	used, err := t.usedParts()
	if err != nil {
		return err
	}
	held, err := column[[]byte](&t.view, sqlPartNames)
	if err != nil {
		return err
	}
	for _, name := range held {
		if !used[string(name)] {
			if err := t.run(sqlDropPart, name); err != nil {
				return err
			}
		}
	}
	return nil
}

// usedParts are the names of the parts of what is kept.
func (v *view) usedParts() (map[string]bool, error) {
	used := map[string]bool{}
	return used, v.rows(sqlInParts, nil, func(rows *sql.Rows) error {
		var squeezed []byte
		if err := rows.Scan(&squeezed); err != nil {
			return err
		}
		plain, err := form.Loosened(squeezed)
		if err != nil || first.Is(plain) {
			return nil // what is damaged is found by its digest
		}
		names, err := packed.Names(plain)
		if err != nil {
			return nil
		}
		for _, name := range names {
			used[name] = true
		}
		return nil
	})
}

// proveParts holds every part against its name, and finds those that are gone.
func proveParts(v *view, p *proof.Proof) error {
	held := map[string]bool{}
	err := v.rows(sqlParts, nil, func(rows *sql.Rows) error {
		var name, is []byte
		if err := rows.Scan(&name, &is); err != nil {
			return err
		}
		p.Rows++
		held[string(name)] = true
		if packed.PartOf(is).Name != string(name) {
			p.Fault("part:%x: it is not what its name says", name)
		}
		return nil
	})
	if err != nil {
		return err
	}
	used, err := v.usedParts()
	if err != nil {
		return err
	}
	for name := range used {
		if !held[name] {
			p.Fault("part:%x: it is gone", name)
		}
	}
	return nil // one that nothing is made of any more is as good as its name
}
