package store

import (
	"context"
	"database/sql"
	"maps"
	"slices"
	"strings"

	"echotally/internal/store/proof"
)

// Verify proves that the ledger is as it was written: the file is sound, its
// tables and triggers are those this program makes, every event follows from the
// one before in its chain, the seals follow from each other and hold the end of
// every chain, and every row is what the last event that touched it says. With
// the key it is also proved that who had it made the seals of all that only they
// can write. A head noted earlier, when given, must be there.
func (s *Store) Verify(ctx context.Context, noted string) (*proof.Proof, error) {
	var p *proof.Proof
	err := s.look(ctx, func(v *view) (err error) { // one moment of the ledger throughout
		p, err = s.prove(ctx, v, noted)
		return err
	})
	if err != nil {
		return nil, s.wrap("verify ledger", err)
	}
	return p, nil
}

func (s *Store) prove(ctx context.Context, v *view, noted string) (*proof.Proof, error) {
	p := &proof.Proof{}
	var sound string
	if _, err := v.row(sqlSound, nil, &sound); err != nil {
		return nil, err
	}
	if sound != "ok" {
		p.Fault("the database file is damaged: %s", sound)
	}
	if err := proveSchema(ctx, v, p); err != nil {
		return nil, err
	}
	w := proof.NewWalk(p, s.key, noted)
	otherwise := len(p.Faults) > 0
	err := walk(v, w)
	if err == nil {
		err = proveRows(v, p, w.Rows())
	}
	if err == nil {
		err = proveParts(v, p)
	}
	if err != nil && otherwise { // no table is read whose columns are others
		p.Fault("what it holds cannot be read")
		err = ctx.Err()
	}
	slices.Sort(p.Faults)
	return p, err
}

// proveRows holds every row against what the events say of it.
func proveRows(v *view, p *proof.Proof, said map[string]string) error {
	for _, k := range keptTables {
		err := k.digests(v, nil, func(key, digest string) {
			p.Rows++
			switch known, ok := said[key]; {
			case (!ok || known == "") && k.spare:
			case !ok || known == "":
				p.Fault("%s: no event says anything of this row", key)
			case known != digest:
				p.Fault("%s: the row is not as the events say", key)
			}
			delete(said, key)
		})
		if err != nil {
			return err
		}
	}
	for key, digest := range said {
		if digest != "" {
			p.Fault("%s: the row is gone", key)
		}
	}
	return nil
}

// proveSchema holds tables, indexes and triggers against those of a new ledger.
func proveSchema(ctx context.Context, v *view, p *proof.Proof) error {
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
			p.Fault("the %s is gone", name)
		case text != want[name]:
			p.Fault("the %s is not as this program makes it", name)
		}
		delete(is, name)
	}
	for _, name := range slices.Sorted(maps.Keys(is)) {
		p.Fault("the %s was added", name)
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

// walk goes through the chain of version 1, the events and the seals.
func walk(v *view, w *proof.Walk) error {
	if err := firstEvents(v, w, "event_1"); err != nil {
		return err
	}
	clear(w.Rows()) // were held against the rows when the ledger was brought to version 2, and told anew
	if err := v.rows(sqlEvents, nil, func(rows *sql.Rows) error { return w.Event(rows) }); err != nil {
		return err
	}
	if err := cut(v, w, "event"); err != nil {
		return err
	}
	if err := v.rows(sqlSeals, nil, func(rows *sql.Rows) error { return w.Seal(rows) }); err != nil {
		return err
	}
	w.Sealed()
	if err := cut(v, w, "seal"); err != nil {
		return err
	}
	w.Met()
	return nil
}

// cut finds a tail that was cut off by the numbers the database gave out.
func cut(v *view, w *proof.Walk, table string) error {
	given, err := v.integer(sqlGivenUpTo, table)
	if err == nil {
		w.Cut(table, int64(given))
	}
	return err
}
