package store

import (
	"database/sql"
	"errors"
	"fmt"
	"reflect"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/packed"
	"echotally/internal/packed/first"
)

// studyForm is how studies and readings are packed. A lab measures the same few
// hundred things with the same codes in study after study, so these are kept
// apart, once; what stands here by number is different in every measurement.
var studyForm = packed.Form{Apart: map[reflect.Type][]int{
	// Value, quantities, time, whence, and what became of it.
	reflect.TypeFor[echo.Measurement](): {5, 8, 9, 13, 15, 16, 17, 18, 23, 24, 25, 26, 27, 28},
}}

// judgementForm is how a judgement is packed: the identifiers of the rules are in
// the rule set.
func judgementForm(rules []finding.About) packed.Form {
	f := packed.Form{Texts: make([]string, len(rules))}
	for i := range rules {
		f.Texts[i] = rules[i].Identifier
	}
	return f
}

// fetchPart gives what is kept of a part.
func (s *Store) fetchPart(name string) ([]byte, error) {
	var out []byte
	err := s.view.QueryRow(sqlPart, []byte(name)).Scan(&out)
	if errors.Is(err, sql.ErrNoRows) {
		err = fmt.Errorf("%w: a part of it is gone", packed.ErrDamaged)
	}
	return out, err
}

// unkeep reads what was kept of a study or an object into v, in whatever form it
// was packed.
func (s *Store) unkeep(squeezed []byte, v any) error { return unkeep(squeezed, v, s.parts) }

func unkeep(squeezed []byte, v any, parts *packed.Parts) error {
	plain, err := loosened(squeezed)
	if err != nil {
		return err
	}
	if first.Is(plain) {
		return first.Unpack(plain, v)
	}
	return studyForm.Unpack(plain, v, parts)
}

// loosened gives what was packed. Studies, which are read by the thousand, are
// kept as they are packed: making them smaller costs more than reading them.
func loosened(kept []byte) ([]byte, error) {
	if packed.Is(kept) {
		return kept, nil
	}
	return packed.Loosen(kept)
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
		plain, err := loosened(squeezed)
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

// parts holds every part against its name, and finds those that are gone.
func (p *Proof) parts(v *view) error {
	held := map[string]bool{}
	err := v.rows(sqlParts, nil, func(rows *sql.Rows) error {
		var name, is []byte
		if err := rows.Scan(&name, &is); err != nil {
			return err
		}
		p.Rows++
		held[string(name)] = true
		if packed.PartOf(is).Name != string(name) {
			p.fault("part:%x: it is not what its name says", name)
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
			p.fault("part:%x: it is gone", name)
		}
	}
	return nil // one that nothing is made of any more is as good as its name
}
