package store

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// Backup writes a whole copy of one moment of the ledger to a new file, while
// others may read and write. The key is not in it.
func (s *Store) Backup(ctx context.Context, file string) error {
	const doing = "back up ledger"
	if _, err := os.Stat(file); err == nil {
		return &Error{Doing: doing, Reason: "there is a file of this name", Hint: "give a new name; a backup is never written over"}
	}
	if err := createPrivate(file); err != nil {
		return s.wrap(doing, err)
	}
	from := s.view
	if s.db != nil {
		from = s.db // the other one may write nothing, not even elsewhere
	}
	_, err := from.ExecContext(ctx, "VACUUM INTO ?", file)
	if err == nil {
		err = syncFile(file)
	}
	if err != nil {
		os.Remove(file)
	}
	return s.wrap(doing, err)
}

func syncFile(file string) error {
	f, err := os.OpenFile(file, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// Restore puts a copy of a backup, verified first, in the place of a ledger. A
// ledger that is there is set aside under a name with the time. No other process
// may be at work on it.
func Restore(ctx context.Context, backup, file string, now time.Time) (aside string, err error) {
	s := &Store{file: file}
	const doing = "restore ledger"
	fresh := file + ".restoring"
	if err := copyFile(backup, fresh); err != nil {
		os.Remove(fresh)
		return "", s.wrap(doing, err)
	}
	if err := verifyCopy(ctx, fresh); err != nil {
		os.Remove(fresh)
		return "", err
	}
	if _, err := os.Stat(file); err == nil {
		// Opening and closing brings what writers left beside the file into it.
		old, err := Open(ctx, file, Options{})
		if err == nil {
			_, err = old.db.ExecContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)")
			old.Close()
		}
		if err != nil && !damaged(err) {
			os.Remove(fresh)
			return "", s.wrap(doing, err)
		}
		aside = file + "." + now.UTC().Format("20060102T150405Z") + ".aside"
		for _, suffix := range []string{"", "-wal", "-shm"} {
			if err := os.Rename(file+suffix, aside+suffix); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return "", s.wrap(doing, err)
			}
		}
	}
	if err := os.Rename(fresh, file); err != nil {
		return aside, s.wrap(doing, err)
	}
	return aside, s.wrap(doing, syncFolder(filepath.Dir(file)))
}

// damaged reports whether a ledger is past opening, which is when a backup is
// wanted.
func damaged(err error) bool {
	var e *Error
	return errors.As(err, &e) && (e.Reason == "the file is damaged" || e.Reason == "the file is no database")
}

// verifyCopy verifies the copy of a backup, brought to the current version.
func verifyCopy(ctx context.Context, fresh string) error {
	s, err := Open(ctx, fresh, Options{})
	if err != nil {
		return err
	}
	defer s.Close()
	proof, err := s.Verify(ctx, "")
	if err != nil {
		return err
	}
	if len(proof.Faults) > 0 {
		return &Error{Doing: "restore ledger", Reason: "the backup does not hold: " + proof.Faults[0], Hint: "give another backup"}
	}
	return nil
}

func copyFile(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Sync(), out.Close())
}

// syncFolder makes a rename last. Systems that cannot sync a folder do without.
func syncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	_ = d.Sync()
	return nil
}

// Purged says what was taken out.
type Purged struct{ Studies, Objects, Undated int }

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
		if out.Undated, err = t.integer("SELECT count(*) FROM study WHERE date = ''"); err != nil {
			return err
		}
		studies, err := t.numbers("SELECT id FROM study WHERE date <> '' AND date < ? ORDER BY date, uid", day)
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
		loose, err := t.numbers("SELECT id FROM object WHERE study_id IS NULL AND at < ? ORDER BY id", day)
		if err != nil || len(loose) == 0 {
			return err
		}
		for _, id := range loose {
			if err := t.purgeObject(id); err != nil {
				return err
			}
			out.Objects++
		}
		return t.event("purged", "", map[string]string{"before": day})
	})
	if err != nil {
		return Purged{}, err
	}
	// The log still holds pages with what was taken out.
	_, err = s.db.ExecContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)")
	return out, s.wrap("purge ledger", err)
}

func (t *tx) purgeStudy(id int64) (objects int, err error) {
	var uid string
	if _, err := t.row("SELECT uid FROM study WHERE id = ?", []any{id}, &uid); err != nil {
		return 0, err
	}
	own, err := t.numbers("SELECT id FROM object WHERE study_id = ?", id)
	if err != nil {
		return 0, err
	}
	for _, o := range own {
		if err := t.purgeObject(o); err != nil {
			return 0, err
		}
	}
	waivers, err := t.numbers("SELECT id FROM waiver WHERE study = ? ORDER BY withdraws IS NULL, id", uid)
	if err != nil {
		return 0, err
	}
	for _, w := range waivers {
		if err := t.drop("identity", fmt.Sprintf("note:%d", w), "DELETE FROM identity WHERE kind = 'note' AND ref = ?", fmt.Sprint(w)); err != nil {
			return 0, err
		}
		if err := t.drop("waiver", w, "DELETE FROM waiver WHERE id = ?", w); err != nil {
			return 0, err
		}
	}
	for _, table := range []struct{ name, ids, drop string }{
		{"stamp", "SELECT id FROM stamp WHERE study = (SELECT uid FROM study WHERE id = ?)", "DELETE FROM stamp WHERE id = ?"},
		{"judgement", "SELECT id FROM judgement WHERE study_id = ?", "DELETE FROM judgement WHERE id = ?"},
	} {
		ids, err := t.numbers(table.ids, id)
		if err != nil {
			return 0, err
		}
		for _, row := range ids {
			if table.name == "judgement" {
				if err := t.run("DELETE FROM result WHERE judgement_id = ?", row); err != nil {
					return 0, err
				}
			}
			if err := t.drop(table.name, row, table.drop, row); err != nil {
				return 0, err
			}
		}
	}
	err = errors.Join(
		t.drop("identity", "study:"+uid, "DELETE FROM identity WHERE kind = 'study' AND ref = ?", uid),
		t.drop("identity", "patient:"+uid, "DELETE FROM identity WHERE kind = 'patient' AND ref = ?", uid),
		t.drop("study", uid, "DELETE FROM study WHERE id = ?", id))
	if err != nil {
		return 0, err
	}
	return len(own), t.event("purged", uid, nil)
}

func (t *tx) purgeObject(id int64) error {
	var sha256 string
	if _, err := t.row("SELECT sha256 FROM object WHERE id = ?", []any{id}, &sha256); err != nil {
		return err
	}
	readings, err := t.numbers("SELECT id FROM reading WHERE object_id = ?", id)
	if err != nil {
		return err
	}
	for _, r := range readings {
		if err := t.drop("reading", r, "DELETE FROM reading WHERE id = ?", r); err != nil {
			return err
		}
	}
	return errors.Join(
		t.drop("identity", "path:"+sha256, "DELETE FROM identity WHERE kind = 'path' AND ref = ?", sha256),
		t.drop("object", sha256, "DELETE FROM object WHERE id = ?", id))
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
	for _, one := range []struct {
		query string
		to    any
	}{
		{"SELECT count(*) FROM study", &out.Studies},
		{"SELECT count(*) FROM study WHERE date = ''", &out.Undated},
		{"SELECT count(*) FROM study WHERE packed IS NULL", &out.WithoutReport},
		{"SELECT coalesce(min(date), '') FROM study WHERE date <> ''", &out.First},
		{"SELECT coalesce(max(date), '') FROM study", &out.Last},
		{"SELECT count(*) FROM judgement", &out.Judgements},
		{"SELECT count(*) FROM ruleset", &out.RuleSets},
		{"SELECT count(*) FROM waiver WHERE withdraws IS NULL", &out.Waivers},
		{"SELECT count(*) FROM waiver WHERE withdraws IS NOT NULL", &out.Withdrawn},
		{"SELECT count(*) FROM stamp", &out.Stamps},
		{"SELECT count(*) FROM staff", &out.Staff},
		{"SELECT count(*) FROM station", &out.Stations},
		{"SELECT count(*) FROM event", &out.Events},
		{"SELECT page_count * page_size FROM pragma_page_count(), pragma_page_size()", &out.Bytes},
	} {
		if err := s.view.QueryRowContext(ctx, one.query).Scan(one.to); err != nil {
			return nil, s.wrap("count ledger", err)
		}
	}
	for query, to := range map[string]map[string]int{
		"SELECT state, count(*) FROM object GROUP BY state":                           out.Objects,
		"SELECT reason, count(*) FROM object WHERE state = 'refused' GROUP BY reason": out.Refusals,
	} {
		rows, err := s.view.QueryContext(ctx, query)
		if err != nil {
			return nil, s.wrap("count ledger", err)
		}
		for rows.Next() {
			var (
				name string
				n    int
			)
			if err := rows.Scan(&name, &n); err != nil {
				rows.Close()
				return nil, s.wrap("count ledger", err)
			}
			to[name] = n
		}
		if err := errors.Join(rows.Err(), rows.Close()); err != nil {
			return nil, s.wrap("count ledger", err)
		}
	}
	return out, nil
}
