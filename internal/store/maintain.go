package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"echotally/internal/store/fault"
	"echotally/internal/store/ledgerfile"
)

// Backup writes a whole copy of one moment of the ledger to a new file, while
// others may read and write. The key is not in it.
func (s *Store) Backup(ctx context.Context, file string) error {
	const doing = "back up ledger"
	made, err := os.OpenFile(file, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return &fault.Error{Doing: doing, Reason: "there is a file of this name", Hint: "give a new name; a backup is never written over"}
	}
	if err == nil {
		err = made.Close()
	}
	if err != nil {
		return s.wrap(doing, err)
	}
	err = s.alone(ctx, sqlBackup, file)
	if err == nil {
		err = ledgerfile.Sync(file)
	}
	if err != nil {
		os.Remove(file)
	}
	return s.wrap(doing, err)
}

// alone runs a statement that is no part of a transaction.
func (s *Store) alone(ctx context.Context, statement string, args ...any) error {
	if s.conn == nil {
		_, err := s.view.ExecContext(ctx, statement, args...)
		return err
	}
	s.turn.Lock() // a view may write nothing, not even elsewhere
	defer s.turn.Unlock()
	_, err := s.conn.ExecContext(ctx, statement, args...)
	return err
}

// Restore puts a copy of a backup, verified first, in the place of a ledger. The
// copy is made under the name of part, which is to lie beside the ledger and is not
// there afterwards. A ledger that is there is set aside under a name with the time,
// and a number when that name is taken. No other process may be at work on it. A
// backup of version 1 takes the key.
func Restore(ctx context.Context, backup, part, file string, opt Options) (aside string, err error) {
	s := &Store{file: file}
	const doing = "restore ledger"
	defer ledgerfile.Remove(part)
	if err := ledgerfile.Copy(ctx, backup, part); err != nil {
		return "", s.wrap(doing, err)
	}
	if err := verifyCopy(ctx, part, opt); err != nil {
		return "", err
	}
	if _, err := os.Stat(file); err == nil {
		// Opening and closing brings what writers left beside the file into it.
		old, err := Open(ctx, file, opt)
		if err == nil {
			err = old.alone(ctx, sqlCheckpoint)
			old.Close()
		}
		if err != nil && !damaged(err) {
			return "", s.wrap(doing, err)
		}
		aside = ledgerfile.FreeName(file + "." + opt.now()().UTC().Format("20060102T150405Z") + ".aside")
		if err := ledgerfile.Rename(file, aside); err != nil {
			return "", s.wrap(doing, err)
		}
	}
	if err := os.Rename(part, file); err != nil {
		return aside, s.wrap(doing, err)
	}
	return aside, s.wrap(doing, ledgerfile.SyncFolder(filepath.Dir(file)))
}

// damaged reports whether a ledger is past opening, which is when a backup is
// wanted.
func damaged(err error) bool {
	var e *fault.Error
	return errors.As(err, &e) && (e.Reason == "the file is damaged" || e.Reason == "the file is no database")
}

// verifyCopy verifies the copy of a backup, brought to the current version.
func verifyCopy(ctx context.Context, part string, opt Options) error {
	s, err := Open(ctx, part, opt)
	if err != nil {
		return err
	}
	defer s.Close()
	proven, err := s.Verify(ctx, "")
	if err != nil {
		return err
	}
	if len(proven.Faults) > 0 {
		return &fault.Error{Doing: "restore ledger", Reason: "the backup does not hold: " + proven.Faults[0], Hint: "give another backup"}
	}
	return nil
}

// Purged says what was taken out. Remains says that its bytes are still in the
// log beside the ledger, because another process reads what was there before.
type Purged struct {
	Studies, Objects, Undated int
	Remains                   bool
}

// Purge takes out the studies dated before the day, with objects, results,
// waivers, times and identity, and objects of no study recorded before it. A later
// study of the person keeps what it was compared with. What else remains are the
// events, which hold digests and UIDs. Studies without a date
// stay and are counted.
func (s *Store) Purge(ctx context.Context, before time.Time) (Purged, error) {
	var out Purged
	day := before.Format(time.DateOnly)
	err := s.write(ctx, "purge ledger", func(t *tx) error {
		var err error
		if out.Undated, err = t.integer(sqlUndated); err != nil {
			return err
		}
		studies, err := column[int64](&t.view, sqlBefore, day)
		if err != nil {
			return err
		}
		for _, id := range studies {
			n, err := t.purgeStudy(id)
			if err != nil {
				return err
			}
			out.Studies++
			out.Objects += n
		}
		loose, err := column[int64](&t.view, sqlLooseObjects, day)
		if err != nil {
			return err
		}
		for _, id := range loose {
			if err := t.purgeObject(id); err != nil {
				return err
			}
			out.Objects++
		}
		if out.Studies+out.Objects == 0 {
			return nil
		}
		if err := t.sweepParts(); err != nil {
			return err
		}
		return t.event("", "purged", map[string]string{"before": day})
	})
	if err != nil {
		return Purged{}, err
	}
	// The log still holds pages with what was taken out.
	out.Remains, err = s.emptyLog(ctx)
	return out, s.wrap("purge ledger", err)
}

// emptyLog brings the log into the ledger, whose freed pages are overwritten, and
// looks whether it is empty then.
func (s *Store) emptyLog(ctx context.Context) (remains bool, err error) {
	s.turn.Lock()
	defer s.turn.Unlock()
	var busy, pages, moved int
	if err := s.conn.QueryRowContext(ctx, sqlCheckpoint).Scan(&busy, &pages, &moved); err != nil {
		return true, err
	}
	log, err := os.Stat(s.file + "-wal")
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return busy != 0, nil
	case err != nil:
		return true, err
	}
	return busy != 0 || log.Size() > 0, nil
}

func (t *tx) purgeStudy(id int64) (objects int, err error) {
	var uid string
	if _, err := t.row(sqlStudyUID, []any{id}, &uid); err != nil {
		return 0, err
	}
	own, err := column[int64](&t.view, sqlOwnObjects, id)
	if err != nil {
		return 0, err
	}
	for _, o := range own {
		if err := t.purgeObject(o); err != nil {
			return 0, err
		}
	}
	waivers, err := column[int64](&t.view, sqlWaiverIDs, uid)
	if err != nil {
		return 0, err
	}
	for _, w := range waivers {
		if err := t.drop("identity", fmt.Sprintf("note:%d", w), sqlDropIdentity, "note", fmt.Sprint(w)); err != nil {
			return 0, err
		}
		if err := t.drop("waiver", w, sqlDropWaiver, w); err != nil {
			return 0, err
		}
	}
	for _, table := range []struct{ name, ids, drop string }{
		{"stamp", sqlStampIDs, sqlDropStamp},
		{"judgement", sqlJudgements, sqlDropJudgement},
	} {
		ids, err := column[int64](&t.view, table.ids, id)
		if err != nil {
			return 0, err
		}
		for _, row := range ids {
			if err := t.drop(table.name, row, table.drop, row); err != nil {
				return 0, err
			}
		}
	}
	err = errors.Join(
		t.drop("identity", "study:"+uid, sqlDropIdentity, "study", uid),
		t.drop("identity", "patient:"+uid, sqlDropIdentity, "patient", uid),
		t.drop("due", uid, sqlDropDue, uid),
		t.drop("study", uid, sqlDropStudy, id))
	if err != nil {
		return 0, err
	}
	return len(own), t.event(uid, "purged", nil)
}

func (t *tx) purgeObject(id int64) error {
	var sha256 string
	if _, err := t.row(sqlObjectSum, []any{id}, &sha256); err != nil {
		return err
	}
	readings, err := column[int64](&t.view, sqlReadings, id)
	if err != nil {
		return err
	}
	for _, r := range readings {
		if err := t.drop("reading", r, sqlDropReading, r); err != nil {
			return err
		}
	}
	return errors.Join(
		t.drop("identity", "path:"+sha256, sqlDropIdentity, "path", sha256),
		t.drop("object", sha256, sqlDropObject, id))
}

// drop deletes a row; the next event tells that it is gone.
func (t *tx) drop(table string, key any, query string, args ...any) error {
	t.touch(table, key)
	return t.run(query, args...)
}

// Statistics count what a ledger holds.
type Statistics struct {
	Studies, Undated, WithoutReport int
	First, Last                     string // study dates
	Objects                         map[string]int
	Refusals                        map[string]int // by reason
	Judgements, RuleSets            int
	Waivers, Withdrawn              int
	Stamps, Staff, Stations         int
	Events                          int
	Bytes                           int64
}

// Statistics counts what the ledger holds.
func (s *Store) Statistics(ctx context.Context) (*Statistics, error) {
	out := &Statistics{Objects: map[string]int{}, Refusals: map[string]int{}}
	err := s.look(ctx, func(v *view) error {
		for query, to := range map[string]any{
			sqlCountStudies: &out.Studies, sqlUndated: &out.Undated, sqlCountWithoutReport: &out.WithoutReport, sqlFirstDate: &out.First, sqlLastDate: &out.Last,
			sqlCountJudgements: &out.Judgements, sqlCountRuleSets: &out.RuleSets, sqlCountWaivers: &out.Waivers, sqlCountWithdrawn: &out.Withdrawn,
			sqlCountStamps: &out.Stamps, sqlCountStaff: &out.Staff, sqlCountStations: &out.Stations, sqlCountEvents: &out.Events, sqlBytes: &out.Bytes,
		} {
			if _, err := v.row(query, nil, to); err != nil {
				return err
			}
		}
		for query, to := range map[string]map[string]int{sqlByState: out.Objects, sqlByReason: out.Refusals} {
			err := v.rows(query, nil, func(rows *sql.Rows) error {
				var (
					name string
					n    int
				)
				err := rows.Scan(&name, &n)
				to[name] = n
				return err
			})
			if err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, s.wrap("count ledger", err)
	}
	return out, nil
}
