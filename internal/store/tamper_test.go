package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"echotally/internal/echo"
	"echotally/internal/store/decision"
	"echotally/internal/store/keyfile"
	"echotally/internal/store/lablist"
	"echotally/internal/store/proof"
)

// spared are the edits that nothing notices, with the reason why nothing need.
var spared = map[string]string{
	"object.id: empty":             "a row number; readings are held with the SHA-256 of their object",
	"object.id: other value":       "the same",
	"ruleset.id: empty":            "a row number that nothing has referred to since version 2",
	"ruleset.id: other value":      "the same",
	"due: row added":               "a study on the list once too often is compared anew, which comes to the same",
	"a lower counter of decision":  "decisions that are gone are noticed by their events",
	"a higher counter of decision": "the next decision has a higher number",
	"no counter of decision":       "as a lower one",
}

// filledLedger has rows in every table: three persons, objects of every kind, lists,
// waivers, decisions, a study that waits to be compared anew, a purge, and what
// version 1 left.
func filledLedger(t *testing.T) *bench {
	t.Helper()
	set, err := shipped()
	if err != nil {
		t.Fatal(err)
	}
	b := openReleased(t, "v1")
	b.set = set
	by := b.auditor()
	judged := by.Judge
	by.Judge = func(s *echo.Study) (*Judged, error) {
		j, err := judged(s)
		j.Counted, j.Counter = []byte("counted of "+s.StudyInstanceUID), "test"
		return j, err
	}
	b.takeBy(by, map[string][]byte{"one.dcm": b.visit("1", "20250105", "77", "19640203", "170"), "two.dcm": b.visit("2", "20260106", "77", "19640203", "171"),
		"three.dcm": b.visit("3", "20200106", "78", "19640203", "171"), "broken.dcm": []byte("DICM"), "note.txt": []byte("no report")})
	b.list(lablist.Roster, "name,role\nRoe^Richard,sonographer\n")
	b.list(lablist.Labs, "station,lab,site,timezone\nbarrow-2,main,south,Europe/Berlin\n")
	b.list(lablist.Signoff, "study,signed\n2.25.21,2026-03-14T18:00\n2.25.9.2,2026-03-15T18:00\n")
	b.waive("2.25.21")
	for n := range 2 {
		if _, err := b.store.Decide(context.Background(), "draw", func([]decision.Decision) (any, error) { return map[string]int{"draw": n}, nil }); err != nil {
			t.Fatal(err)
		}
	}
	b.take(map[string][]byte{"four.dcm": b.report("2.80", "header 0020000D = 2.25.24"), "five.dcm": b.report("3.1", "header 00080018 = 2.25.15", "header 0020000D = 2.25.25")})
	err = b.store.write(context.Background(), "wait", func(t *tx) error {
		t.touch("due", "2.25.22")
		t.touch("due", "2.25.23")
		return errors.Join(t.run(sqlAddDue, "2.25.22"), t.run(sqlAddDue, "2.25.23"), t.event("2.25.21", "recorded", nil))
	})
	if err != nil {
		t.Fatal(err)
	}
	b.holds()
	return b
}

var errUndone = errors.New("undone")

// tampered does something to the ledger, asks what verifying says, and undoes it.
// It reports false when the database would not have it done.
func (b *bench) tampered(edit func(t *tx) error) (faults []string, done bool) {
	b.Helper()
	return b.proved("", edit)
}

// proved is tampered for a verifying that knows a head noted earlier.
func (b *bench) proved(noted string, edit func(t *tx) error) (faults []string, done bool) {
	b.Helper()
	err := b.store.write(context.Background(), "tamper", func(t *tx) error {
		if err := errors.Join(t.run("PRAGMA defer_foreign_keys = ON"), edit(t)); err != nil {
			return err
		}
		p, err := b.store.prove(context.Background(), &t.view, noted)
		if err != nil {
			b.Fatal(err)
		}
		faults = p.Faults
		return errUndone
	})
	if err == nil {
		b.Fatal("it was not undone")
	}
	return faults, errors.Is(err, errUndone)
}

// withoutTriggers executes a statement where triggers forbid it, and puts those back
// as they were that it left alone.
func withoutTriggers(query string) func(t *tx) error {
	if strings.Contains(strings.ToLower(query), "trigger") {
		return func(t *tx) error { return t.run(query) }
	}
	return withTriggersOff(func(t *tx) error { return t.run(query) })
}

func withTriggersOff(edit func(t *tx) error) func(t *tx) error {
	return func(t *tx) error {
		var drop, make []string
		err := t.rows("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'", nil, func(rows *sql.Rows) error {
			var name, text string
			err := rows.Scan(&name, &text)
			drop, make = append(drop, "DROP TRIGGER "+name), append(make, text)
			return err
		})
		for _, query := range drop {
			err = errors.Join(err, t.run(query))
		}
		if err == nil {
			err = edit(t)
		}
		for _, query := range make {
			if failed := t.run(query); failed != nil && !strings.Contains(failed.Error(), "no such table") { // it went with the edit
				err = errors.Join(err, failed)
			}
		}
		return err
	}
}

// columnsOf lists the tables with their columns, those of the database's own counters
// among them.
func (b *bench) columnsOf() map[string][]string {
	b.Helper()
	out := map[string][]string{}
	rows, err := b.store.view.Query("SELECT t.name, c.name FROM sqlite_schema t, pragma_table_info(t.name) c WHERE t.type = 'table' ORDER BY 1, c.cid")
	if err != nil {
		b.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var table, column string
		if err := rows.Scan(&table, &column); err != nil {
			b.Fatal(err)
		}
		out[table] = append(out[table], column)
	}
	return out
}

// edits are what is done to a table: to each of its columns, to its rows, to itself.
// The row is the first that has something in the column.
func edits(table string, columns []string) map[string]string {
	out := map[string]string{
		table + ": row deleted":  fmt.Sprintf("DELETE FROM %[1]s WHERE %[2]s = (SELECT min(%[2]s) FROM %[1]s)", table, columns[0]),
		table + ": rows deleted": "DELETE FROM " + table,
		table + ": column added": "ALTER TABLE " + table + " ADD COLUMN made_up TEXT",
	}
	// A row is added as a copy of another, with other keys.
	copied := slices.Clone(columns)
	for i, c := range columns {
		switch {
		case c == "id":
			copied[i] = "max(id) + 1"
		case i == 0, c == "digest", c == "sha256", c == "uid", c == "ref", c == "number":
			copied[i] = fmt.Sprintf("CASE typeof(%[1]s) WHEN 'integer' THEN %[1]s + 1000 WHEN 'blob' THEN %[1]s || x'00' ELSE %[1]s || 'x' END", c)
		}
	}
	out[table+": row added"] = fmt.Sprintf("INSERT INTO %s (%s) SELECT %s FROM %[1]s", table, strings.Join(columns, ", "), strings.Join(copied, ", "))
	for _, c := range columns {
		where := fmt.Sprintf("WHERE %[2]s IN (SELECT %[2]s FROM %[1]s WHERE %[3]s IS NOT NULL ORDER BY length(%[3]s) DESC LIMIT 1)", table, columns[0], c)
		set := func(value string) string { return fmt.Sprintf("UPDATE %s SET %s = %s %s", table, c, value, where) }
		name := table + "." + c
		out[name+": null"] = set("NULL")
		out[name+": other value"] = set(fmt.Sprintf("CASE typeof(%[1]s) WHEN 'integer' THEN %[1]s + 1000 WHEN 'blob' THEN %[1]s || x'00' ELSE %[1]s || 'x' END", c))
		out[name+": empty"] = set(fmt.Sprintf("CASE typeof(%[1]s) WHEN 'integer' THEN -7 WHEN 'blob' THEN x'' ELSE '' END", c))
		out[name+": another type"] = set(fmt.Sprintf("CASE typeof(%[1]s) WHEN 'blob' THEN hex(%[1]s) ELSE CAST(%[1]s AS BLOB) END", c))
		out[name+": swapped"] = fmt.Sprintf(`UPDATE %[1]s SET %[2]s = CASE WHEN %[2]s = (SELECT min(%[2]s) FROM %[1]s) THEN (SELECT max(%[2]s) FROM %[1]s) ELSE (SELECT min(%[2]s) FROM %[1]s) END
			WHERE (SELECT min(%[2]s) <> max(%[2]s) FROM %[1]s) AND %[2]s IN ((SELECT min(%[2]s) FROM %[1]s), (SELECT max(%[2]s) FROM %[1]s))`, table, c)
	}
	return out
}

// Every edit of every column of every table, and of the schema, is noticed.
func TestEveryTamperingIsNoticed(t *testing.T) {
	b := filledLedger(t)
	all := b.schemaEdits()
	effective := map[string]int{}
	for table, columns := range b.columnsOf() {
		var rows int
		if err := b.store.view.QueryRow("SELECT count(*) FROM " + table).Scan(&rows); err != nil || rows < 2 {
			t.Errorf("%s has %d rows (%v): too few to swap any", table, rows, err)
		}
		if table == "sqlite_sequence" {
			continue // by name below
		}
		for _, c := range columns {
			effective[table+"."+c] = 0
		}
		effective[table] = 0
		for name, query := range edits(table, columns) {
			all[name] = query
		}
	}
	for _, table := range []string{"event", "event_1", "seal", "decision"} {
		for name, query := range map[string]string{
			"a lower counter of ": "UPDATE sqlite_sequence SET seq = seq - 1", "a higher counter of ": "UPDATE sqlite_sequence SET seq = seq + 1",
			"no counter of ": "DELETE FROM sqlite_sequence", "another kind of counter of ": "UPDATE sqlite_sequence SET seq = CAST(seq AS BLOB)",
		} {
			all[name+table] = query + " WHERE name = '" + table + "'"
		}
	}
	delete(all, "another kind of counter of decision") // as a lower one
	done := 0
	for _, name := range slices.Sorted(maps.Keys(all)) {
		before, changed := b.sums(), false
		faults, possible := b.tampered(func(t *tx) error {
			err := withoutTriggers(all[name])(t)
			changed = err == nil && sumsOf(&t.view) != before
			return err
		})
		if !possible || !changed {
			continue // the database does not have it, or it changes nothing
		}
		done++
		of, _, _ := strings.Cut(name, ":")
		if _, known := effective[of]; known {
			effective[of]++
		}
		if reason := spared[name]; reason != "" && len(faults) > 0 {
			t.Errorf("%s: noticed (%s) although it is said that nothing need", name, faults[0])
		} else if reason == "" && len(faults) == 0 {
			t.Errorf("%s: not noticed (%s)", name, all[name])
		}
	}
	for of, n := range effective {
		if want := map[bool]int{true: 1, false: 3}[strings.Contains(of, ".")]; n < want {
			t.Errorf("%s: only %d edits that the database has", of, n)
		}
	}
	t.Logf("%d edits thought of, %d that the database has done, %d of them spared", len(all), done, len(spared))
}

// sums is what all tables and the schema hold.
func (b *bench) sums() string {
	return sumsOf(&view{ctx: context.Background(), statement: func(query string) (*sql.Stmt, error) { return b.store.view.Prepare(query) }})
}

func sumsOf(v *view) string {
	out, err := schemaOf(v)
	text := fmt.Sprint(out, err)
	names, err := column[string](v, "SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name")
	for _, table := range names {
		err = errors.Join(err, kept{query: "SELECT '', * FROM " + table + "%s"}.digests(v, nil, func(_, digest string) { text += digest }))
	}
	return fmt.Sprint(proof.EventHash(text, "", 0, "", "", ""), err)
}

// schemaEdits are what is done to the schema itself.
func (b *bench) schemaEdits() map[string]string {
	b.Helper()
	out := map[string]string{
		"a trigger made up":  "CREATE TRIGGER made_up AFTER INSERT ON stamp BEGIN DELETE FROM waiver; END",
		"a view made up":     "CREATE VIEW made_up AS SELECT * FROM waiver",
		"a table made up":    "CREATE TABLE made_up (a)",
		"an index made up":   "CREATE INDEX made_up ON waiver (role)",
		"a column renamed":   "ALTER TABLE staff RENAME COLUMN role TO made_up",
		"a table renamed":    "ALTER TABLE staff RENAME TO made_up",
		"a trigger weakened": "DROP TRIGGER event_stays; CREATE TRIGGER event_stays BEFORE DELETE ON event WHEN 0 BEGIN SELECT RAISE(ABORT, 'events are never deleted'); END",
	}
	rows, err := b.store.view.Query("SELECT type, name FROM sqlite_schema WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite_%'")
	if err != nil {
		b.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var kind, name string
		if err := rows.Scan(&kind, &name); err != nil {
			b.Fatal(err)
		}
		out[kind+" "+name+" dropped"] = "DROP " + kind + " " + name
	}
	return out
}

// TestAFileOfAnotherKindIsNoLedger: the two numbers by which the file says what it is.
func TestAFileOfAnotherKindIsNoLedger(t *testing.T) {
	for _, query := range []string{"PRAGMA application_id = 7", "PRAGMA user_version = 2", "PRAGMA user_version = 99"} {
		b := newBench(t)
		if _, err := b.store.conn.ExecContext(context.Background(), query); err != nil {
			t.Fatal(err)
		}
		b.store.Close()
		if s, err := Open(context.Background(), b.file(), Options{ReadOnly: true}); err == nil {
			s.Close()
			t.Errorf("%s: it opens", query)
		}
	}
}

// An outcome is changed with everything that would show it: its digest in the event,
// the hashes of that event and of all that follow, the seals. Each step less is
// noticed by whoever verifies, the last by who has the key or noted a head.
func TestAComposedAttackIsNoticed(t *testing.T) {
	b := filledLedger(t)
	noted := b.holds().Head
	value := func(t *tx) error { return t.run("UPDATE judgement SET outcomes = replace(outcomes, 'f', 'p')") }
	marks := func(mark string) func(*tx) error {
		return func(t *tx) error { return reseal(t, func(string, string) string { return mark }) }
	}
	steps := func(all ...func(*tx) error) func(*tx) error {
		return func(t *tx) (err error) {
			for _, step := range all {
				err = errors.Join(err, step(t))
			}
			return err
		}
	}
	asBefore := func(t *tx) error { return reseal(t, func(_, mark string) string { return mark }) }
	key := b.store.key
	for _, c := range []struct {
		name                         string
		attack                       func(*tx) error
		by, withoutKey, withHeadOnly bool // by whom it is noticed: with the key, by anybody, with the head noted earlier
	}{
		{"the value alone", value, true, true, true},
		{"with its digest", steps(value, retell), true, true, true},
		{"with the hashes of the events", steps(value, retell, rechain), true, true, true},
		{"with the seals, marks as they were", steps(value, retell, rechain, asBefore), true, false, true},
		{"with the seals, marks left out", steps(value, retell, rechain, marks("")), true, false, true},
		{"with the seals, marks made up", steps(value, retell, rechain, marks("00112233445566778899aabbccddeeff")), true, false, true},
		{"only the seals, marks left out", marks(""), true, false, false},
	} {
		for _, how := range []struct {
			name, head string
			key        *keyfile.Key
			noticed    bool
		}{{"with the key", "", key, c.by}, {"by anybody", "", nil, c.withoutKey}, {"with a head noted earlier", noted, nil, c.withHeadOnly}} {
			b.store.key = how.key
			faults, done := b.proved(how.head, withTriggersOff(c.attack))
			if !done || (len(faults) > 0) != how.noticed {
				t.Errorf("%s, %s: done %v, faults %v", c.name, how.name, done, faults)
			}
		}
	}
	b.store.key = key
	b.holds()
}

// retell puts the digests of all rows as they are into the events that told of them last.
func retell(t *tx) error {
	last := map[string]int64{}
	details := map[int64]*proof.Detail{}
	if err := t.rows("SELECT id, detail FROM event ORDER BY id", nil, func(rows *sql.Rows) error {
		var (
			id     int64
			text   string
			detail proof.Detail
		)
		err := errors.Join(rows.Scan(&id, &text), json.Unmarshal([]byte(text), &detail))
		for key := range detail.Rows {
			last[key] = id
		}
		details[id] = &detail
		return err
	}); err != nil {
		return err
	}
	for _, k := range keptTables {
		if err := k.digests(&t.view, nil, func(key, digest string) { details[last[key]].Rows[key] = digest }); err != nil {
			return err
		}
	}
	for id, detail := range details {
		text, err := json.Marshal(detail)
		if err != nil {
			return err
		}
		if err := t.run("UPDATE event SET detail = ? WHERE id = ?", string(text), id); err != nil {
			return err
		}
	}
	return nil
}

// rechain makes the hashes of all events anew.
func rechain(t *tx) error {
	last, hashes := map[string]string{}, map[int64]string{}
	err := t.rows(sqlEvents, nil, func(rows *sql.Rows) error {
		var (
			id, number                      int64
			study, at, kind, detail, stated string
		)
		err := rows.Scan(&id, &study, &number, &at, &kind, &detail, &stated)
		last[study] = proof.EventHash(last[study], study, number, at, kind, detail)
		hashes[id] = last[study]
		return err
	})
	for id, hash := range hashes {
		err = errors.Join(err, t.run("UPDATE event SET hash = ? WHERE id = ?", hash, id))
	}
	return err
}

// reseal makes all seals anew over the events as they are, with such marks.
func reseal(t *tx, mark func(hash, was string) string) error {
	type seal struct {
		id            int64
		at, heads, is string
	}
	var seals []seal
	err := t.rows(sqlSeals, nil, func(rows *sql.Rows) error {
		var s seal
		err := rows.Scan(&s.id, &s.at, &s.heads, new(string), &s.is)
		seals = append(seals, s)
		return err
	})
	var before string
	if _, failed := t.row(firstLastEvent, nil, &before); failed != nil {
		return failed
	}
	for _, s := range seals {
		var heads map[string]proof.Head
		err = errors.Join(err, json.Unmarshal([]byte(s.heads), &heads))
		for chain, h := range heads {
			_, failed := t.row("SELECT hash FROM event WHERE chain = ? AND number = ?", []any{chain, h.Number}, &h.Hash)
			heads[chain], err = h, errors.Join(err, failed)
		}
		text, failed := json.Marshal(heads)
		before = proof.Hash(before, s.at, string(text))
		err = errors.Join(err, failed, t.run("UPDATE seal SET heads = ?, hash = ?, mark = ? WHERE id = ?", string(text), before, mark(before, s.is), s.id))
	}
	return err
}
