package store

import (
	"errors"
	"strings"

	"echotally/internal/echo"
	"echotally/internal/run"
)

// Studies of one person are tied by a row of the kind patient in the table
// identity, whose lookup is the keyed hash of patient ID and issuer. It shows
// that two studies are of one person to whoever has the file, and of whom to
// nobody without the key.

// patient gives the keyed hash by which the studies of a patient ID are found;
// "" without an ID.
func (k *Key) patient(who echo.Identity) string {
	id := strings.TrimSpace(who.PatientID.Reveal())
	if id == "" {
		return ""
	}
	return k.lookup("patient\x00" + strings.TrimSpace(who.IssuerOfPatientID.Reveal()) + "\x00" + id)
}

// tie writes down by which hash the studies of the person are found.
func (s *Store) tie(t *tx, uid string, who echo.Identity) error {
	lookup := s.key.patient(who)
	same, err := t.integer("SELECT count(*) FROM identity WHERE kind = 'patient' AND ref = ? AND lookup = ?", uid, lookup)
	if err != nil || same > 0 {
		return err
	}
	return s.seal(t, "patient", uid, lookup, "")
}

// tieBatch is how many studies one event answers for when an older ledger is
// tied.
const tieBatch = 500

// tieAll ties the studies of a ledger that an earlier program made, once.
func (s *Store) tieAll(t *tx) error {
	done, err := t.integer("SELECT count(*) FROM meta WHERE name = 'patients'")
	if err != nil || done > 0 {
		return err
	}
	refs, err := t.texts("SELECT ref FROM identity WHERE kind = 'study' ORDER BY ref")
	if err != nil {
		return err
	}
	for i, uid := range refs {
		who, err := s.identity(t.ctx, t.sql, uid)
		if err == nil {
			err = s.tie(t, uid, who.first())
		}
		if err == nil && i%tieBatch == tieBatch-1 {
			err = t.event("tied", "", nil)
		}
		if err != nil {
			return err
		}
	}
	t.touch("meta", "patients")
	return errors.Join(t.run("INSERT INTO meta (name, value) VALUES ('patients', 'tied')"), t.event("tied", "", nil))
}

// of the same person as the study, by the hash of its patient ID.
const ofPerson = `FROM study s JOIN identity i ON i.kind = 'patient' AND i.ref = s.uid
	WHERE i.lookup <> '' AND i.lookup = (SELECT lookup FROM identity WHERE kind = 'patient' AND ref = ?) AND s.packed IS NOT NULL AND s.date <> ''`

// hasEarlier reports whether the ledger holds an earlier study of the person.
func (r *recording) hasEarlier() (bool, error) {
	uid := r.read.StudyInstanceUID
	n, err := r.integer("SELECT count(*) "+ofPerson+" AND s.date < (SELECT date FROM study WHERE uid = ?)", uid, uid)
	return n > 0, err
}

// compare gives the study what it is compared with: the latest earlier study of
// the person in the ledger. Identities are opened for that and not kept.
func (r *recording) compare(study *echo.Study) error {
	if study == nil || study.StudyDate == "" {
		return nil
	}
	uid := r.read.StudyInstanceUID
	rows, err := r.sql.QueryContext(r.ctx, "SELECT s.uid, s.packed "+ofPerson+" AND s.date < ?", uid, day(study.StudyDate))
	if err != nil {
		return err
	}
	defer rows.Close()
	var earlier []*echo.Study
	for rows.Next() {
		var packed []byte
		one := &echo.Study{}
		if err := rows.Scan(&one.StudyInstanceUID, &packed); err != nil {
			return err
		}
		if err := unkeep(packed, one); err != nil {
			return err
		}
		earlier = append(earlier, one)
	}
	if err := rows.Err(); err != nil || len(earlier) == 0 {
		return err
	}
	identified := *study
	for _, one := range append(earlier, &identified) {
		who, err := r.store.identity(r.ctx, r.tx.sql, one.StudyInstanceUID)
		if err != nil {
			return err
		}
		one.Identity = who.first()
	}
	study.Prior = run.Prior(&identified, earlier)
	return nil
}

// passOn compares the person's later studies anew, which this one may now stand
// before: in which order studies come in makes no difference.
func (r *recording) passOn() error {
	uid := r.read.StudyInstanceUID
	later, err := r.texts("SELECT s.uid "+ofPerson+" AND s.date > (SELECT date FROM study WHERE uid = ? AND date <> '') ORDER BY s.date, s.uid", uid, uid)
	if err != nil {
		return err
	}
	for _, uid := range later {
		who, err := r.store.identity(r.ctx, r.tx.sql, uid)
		if err != nil {
			return err
		}
		next := &recording{
			store: r.store, tx: r.tx, by: r.by, read: &run.Study{StudyInstanceUID: uid}, receipt: &Receipt{StudyInstanceUID: uid}, clean: cleaner(who.names()),
		}
		if _, err := r.row("SELECT id, digest FROM study WHERE uid = ?", []any{uid}, &next.id, &next.digest); err != nil {
			return err
		}
		if err := next.compose(true, true); err != nil {
			return err
		}
	}
	return nil
}
