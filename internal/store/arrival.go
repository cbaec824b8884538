package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"time"
)

// Arrival is a study by when the last of it came. Its results are those of the rule
// set that judged it last as it is now.
type Arrival struct {
	Study
	Came    time.Time // when the last object of it was recorded
	Objects int       // of those that came last
	RuleSet string    // digest, "" when none has judged it
}

// latestObjects are how many of the last objects are looked through for the studies
// that came last: those of some hundred studies with their images.
const latestObjects = 20_000

// Arrivals gives the studies of which something came last, the latest first, at most
// so many.
func (s *Store) Arrivals(ctx context.Context, most int) ([]*Arrival, error) {
	var out []*Arrival
	err := s.look(ctx, func(v *view) error {
		q := &question{view: v, parts: s.parts, key: s.key}
		err := q.load()
		if err != nil {
			return err
		}
		var short [][]byte
		err = v.rows(sqlArrivals, []any{latestObjects, most}, func(rows *sql.Rows) error {
			var (
				one          = &Arrival{Study: Study{parts: s.parts}}
				facts, brief []byte
				last         int64
				came         string
			)
			if err := rows.Scan(&one.UID, &facts, &one.digest, &last, &came, &one.Objects, &one.RuleSet, &one.Outcomes, &brief); err != nil {
				return err
			}
			one.Came, err = time.Parse(time.RFC3339Nano, came)
			q.join(&one.Study)
			out, short = append(out, one), append(short, brief)
			return errors.Join(err, json.Unmarshal(facts, &one.Facts))
		})
		if err != nil {
			return err
		}
		return q.judgedBy(out, short)
	})
	return out, s.wrap("read ledger", err)
}

// judgedBy adds to each study the results of its own rule set.
func (q *question) judgedBy(all []*Arrival, short [][]byte) (err error) {
	sets := map[string]*ruleList{}
	for i, one := range all {
		set, known := sets[one.RuleSet]
		if !known && one.RuleSet != "" {
			if set, err = q.view.rules(one.RuleSet); err != nil {
				return err
			}
			sets[one.RuleSet] = set
		}
		if set == nil || short[i] == nil {
			continue
		}
		q.rules = set
		if err := q.judged(&one.Study, short[i]); err != nil {
			return err
		}
	}
	return nil
}

// Change is a number that grows with whatever is written to the ledger, also by
// another process.
func (s *Store) Change(ctx context.Context) (int64, error) {
	var n int64
	err := s.look(ctx, func(v *view) error { _, err := v.row(sqlChange, nil, &n); return err })
	return n, s.wrap("read ledger", err)
}

// Version is a text that changes with whatever is recorded of a study, or of another
// study of the same person; "" for one that is not there.
func (s *Store) Version(ctx context.Context, uid string) (string, error) {
	var hashes string
	err := s.look(ctx, func(v *view) error { _, err := v.row(sqlVersionOf, []any{uid, uid, uid}, &hashes); return err })
	return hashes, s.wrap("read ledger", err)
}

// UIDs gives the studies that were added after a number, which is 0 at first, and the
// number to go on from.
func (s *Store) UIDs(ctx context.Context, after int64) (uids []string, last int64, err error) {
	last = after
	err = s.look(ctx, func(v *view) error {
		return v.rows(sqlUIDs, []any{after}, func(rows *sql.Rows) error {
			var uid string
			err := rows.Scan(&last, &uid)
			uids = append(uids, uid)
			return err
		})
	})
	return uids, last, s.wrap("read ledger", err)
}

// Dated is a study with its day, 2026-10-31.
type Dated struct{ UID, Date string }

// OfPerson lists the dated studies with a report of the person a study is of, by
// date; nil where the study does not say which person. They are found by the keyed
// hash of patient ID and issuer.
func (s *Store) OfPerson(ctx context.Context, uid string) ([]Dated, error) {
	var out []Dated
	err := s.look(ctx, func(v *view) error {
		return v.rows(sqlSamePerson, []any{uid}, func(rows *sql.Rows) error {
			var d Dated
			err := rows.Scan(&d.UID, &d.Date)
			out = append(out, d)
			return err
		})
	})
	return out, s.wrap("read ledger", err)
}

// ObjectsOf lists the objects of a study in the order in which they were recorded,
// without their paths.
func (s *Store) ObjectsOf(ctx context.Context, uid string) ([]Object, error) {
	var out []Object
	err := s.look(ctx, func(v *view) error {
		return v.rows(sqlListObjects, []any{uid}, func(rows *sql.Rows) error {
			var o Object
			err := rows.Scan(&o.SHA256, &o.SOPInstanceUID, &o.SOPClassUID, &o.Image, &o.State, &o.Reason)
			out = append(out, o)
			return err
		})
	})
	return out, s.wrap("read ledger", err)
}
