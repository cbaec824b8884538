package store

import (
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"fmt"

	"echotally/internal/store/proof"
)

// What version 1 of the ledger left behind: one chain of events over digests of
// what the database driver gave, and values packed with the names of the fields
// (first_unpack.go).

// Statements of version 1.
const (
	firstEventsOf  = "SELECT id, at, kind, subject, detail, hash FROM %s ORDER BY id"
	firstLastEvent = "SELECT hash FROM event_1 ORDER BY id DESC LIMIT 1"
	firstRuleSets  = "SELECT id, digest FROM ruleset ORDER BY id"
	firstRules     = "SELECT identifier, detail FROM rule WHERE ruleset_id = ? ORDER BY id"
	firstSetRules  = "UPDATE ruleset SET rules = ? WHERE id = ?"
	firstJudgings  = `SELECT j.id, j.study_id, r.digest, j.digest, j.at, j.detail, j.outcomes, r.id, s.uid
		FROM judgement_1 j JOIN ruleset r ON r.id = j.ruleset_id JOIN study s ON s.id = j.study_id ORDER BY j.id`
	firstWords        = "SELECT ru.identifier, r.detail FROM result r JOIN rule ru ON ru.id = r.rule_id WHERE r.judgement_id = ?"
	firstPacked       = "SELECT packed FROM study WHERE id = ? AND digest = ? AND packed IS NOT NULL"
	firstAddJudgement = `INSERT INTO judgement (id, study_id, ruleset, digest, at, outcomes, brief, whole)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?)`
	firstRebuild = "DROP TABLE result; DROP TABLE judgement_1; DROP TABLE rule"
)

// firstTables are the tables whose rows the events of version 1 answer for. Rows
// with the same key are taken together.
var firstTables = []kept{
	{"meta", "SELECT name, value FROM meta ORDER BY name", "", 0, false},
	{"identity", "SELECT kind || ':' || ref, lookup, sealed FROM identity ORDER BY kind, ref", "", 0, false},
	{"study", "SELECT uid, date, station, facts, packed, digest FROM study ORDER BY uid", "", 0, false},
	{"object", `SELECT o.sha256, o.sop_uid, o.sop_class, coalesce(s.uid, ''), o.image, o.state, o.reason, o.at
		FROM object o LEFT JOIN study s ON s.id = o.study_id ORDER BY o.sha256`, "", 0, false},
	{"reading", `SELECT r.id, o.sha256, r.reader, r.content, r.packed
		FROM reading r JOIN object o ON o.id = r.object_id ORDER BY r.id`, "", 0, false},
	{"ruleset", `SELECT s.digest, s.version, r.identifier, r.detail
		FROM ruleset s LEFT JOIN rule r ON r.ruleset_id = s.id ORDER BY s.digest, r.identifier`, "", 0, false},
	{"judgement", `SELECT j.id, s.uid, rs.digest, j.digest, j.at, j.detail, j.outcomes, ru.identifier, r.detail
		FROM judgement j JOIN study s ON s.id = j.study_id JOIN ruleset rs ON rs.id = j.ruleset_id
		LEFT JOIN result r ON r.judgement_id = j.id LEFT JOIN rule ru ON ru.id = r.rule_id ORDER BY j.id, ru.identifier`, "", 0, false},
	{"waiver", "SELECT id, study, rule, reason, effect, role, at, late, withdraws FROM waiver ORDER BY id", "", 0, false},
	{"stamp", "SELECT id, study, lookup, setting, ended, read, signed, at FROM stamp ORDER BY id", "", 0, false},
	{"staff", "SELECT pseudonym, role FROM staff ORDER BY pseudonym", "", 0, false},
	{"station", "SELECT name, lab, site, timezone FROM station ORDER BY name", "", 0, false},
}

// firstProof holds a ledger of version 1 against its events, before it is
// brought to version 2.
func firstProof(v *view) (*proof.Proof, error) {
	p := &proof.Proof{}
	w := proof.NewWalk(p, nil, "")
	if err := firstEvents(v, w, "event"); err != nil {
		return nil, err
	}
	said := w.Rows()
	for _, k := range firstTables {
		if err := k.firstDigests(v, func(key, digest string) {
			if known := said[key]; known != digest {
				p.Fault("%s: the row is not as the events say", key)
			}
			delete(said, key)
		}); err != nil {
			return nil, err
		}
	}
	for key, digest := range said {
		if digest != "" {
			p.Fault("%s: the row is gone", key)
		}
	}
	return p, nil
}

// firstEvents walks the chain of version 1 in a table.
func firstEvents(v *view, w *proof.Walk, table string) error {
	err := v.rows(fmt.Sprintf(firstEventsOf, table), nil, func(rows *sql.Rows) error { return w.First(rows) })
	if err != nil {
		return err
	}
	return cut(v, w, table)
}

// firstDigests gives the digests of version 1: of what the driver gave, which
// tells no text from the number it is written like.
func (k kept) firstDigests(v *view, each func(key, digest string)) error {
	current, begun, h := "", false, sha256.New()
	end := func() {
		if begun {
			each(k.name+":"+current, hex.EncodeToString(h.Sum(nil)))
		}
	}
	err := v.rows(k.query, nil, func(rows *sql.Rows) error {
		columns, err := rows.Columns()
		if err != nil {
			return err
		}
		values, to := make([]sql.RawBytes, len(columns)), make([]any, len(columns))
		for i := range values {
			to[i] = &values[i]
		}
		if err := rows.Scan(to...); err != nil {
			return err
		}
		if !begun || string(values[0]) != current {
			end()
			current, begun = string(values[0]), true
			h.Reset()
		}
		for _, one := range values[1:] {
			if one == nil {
				h.Write([]byte("-"))
				continue
			}
			fmt.Fprintf(h, "%d:", len(one))
			h.Write(one)
		}
		return nil
	})
	end()
	return err
}
