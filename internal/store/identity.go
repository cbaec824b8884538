package store

import (
	"context"
	"encoding/json"
	"errors"
	"io/fs"
	"os"

	"echotally/internal/echo"
	"echotally/internal/store/fault"
	"echotally/internal/store/identity"
	"echotally/internal/store/keyfile"
)

// sealText puts a text under the key. The kind and reference are sealed with it,
// so that a row cannot be moved to another study.
func (t *tx) sealText(kind, ref, lookup, text string) error {
	key := t.store.key
	if key == nil {
		return errNoKey
	}
	t.touch("identity", kind+":"+ref)
	return t.run(sqlSeal, kind, ref, lookup, key.Seal(kind+":"+ref, text))
}

var errNoKey = &fault.Error{Doing: "open identity", Reason: "it is sealed and no key was given", Hint: "name the key file with --key"}

// unseal opens what was sealed; "" when there is nothing.
func (s *Store) unseal(v *view, kind, ref string) (string, error) {
	var sealed []byte
	found, err := v.row(sqlSealed, []any{kind, ref}, &sealed)
	switch {
	case err != nil || !found:
		return "", err
	case s.key == nil:
		return "", errNoKey
	}
	text, err := s.key.Open(kind+":"+ref, sealed)
	if err != nil {
		return "", &fault.Error{Doing: "open identity", Reason: "the sealed text was changed, or sealed with another key", Hint: "echotally ledger verify tells which"}
	}
	return text, nil
}

// Identity gives who a study is of. It needs the key.
func (s *Store) Identity(ctx context.Context, uid string) (echo.Identity, error) {
	var who identity.Claims
	err := s.look(ctx, func(v *view) (err error) { who, err = s.identity(v, uid); return err })
	return who.First(), s.wrap("open identity", err)
}

func (s *Store) identity(v *view, uid string) (identity.Claims, error) {
	var who identity.Claims
	text, err := s.unseal(v, "study", uid)
	if err == nil && text != "" {
		err = json.Unmarshal([]byte(text), &who)
	}
	return who, err
}

// Studies of one person are tied by a row of the kind patient, whose lookup is
// the keyed hash of patient ID and issuer. It shows that two studies are of one
// person to whoever has the file, and of whom to nobody without the key.

// tie writes down by which hash the studies of the person are found.
func (t *tx) tie(uid, lookup string) error {
	same, err := t.integer(sqlIsTied, uid, lookup)
	if err != nil || same > 0 {
		return err
	}
	return t.sealText("patient", uid, lookup, "")
}

// tieAll ties the studies of a ledger that an earlier program made, once.
func (s *Store) tieAll(t *tx) error {
	var done string
	known, err := t.row(sqlMeta, []any{"patients"}, &done)
	if err != nil || known {
		return err
	}
	refs, err := column[string](&t.view, sqlIdentified)
	if err != nil {
		return err
	}
	for i, uid := range refs {
		who, err := s.identity(&t.view, uid)
		if err == nil {
			err = t.tie(uid, s.key.Patient(who.First()))
		}
		if err == nil && i%toldAtOnce == toldAtOnce-1 {
			err = t.event("", "tied", nil)
		}
		if err != nil {
			return err
		}
	}
	t.touch("meta", "patients")
	return errors.Join(t.run(sqlAddMeta, "patients", "tied"), t.event("", "tied", nil))
}

// checkKey holds the key against the ledger: the first key it is opened with
// for writing becomes its own.
func (s *Store) checkKey(ctx context.Context, mayNote bool) error {
	if s.key == nil {
		return nil
	}
	if mayNote {
		err := s.write(ctx, "note key", func(t *tx) error {
			var is string
			known, err := t.row(sqlMeta, []any{"key"}, &is)
			if err != nil || known && is != s.key.Fingerprint() {
				return err
			}
			if !known {
				t.touch("meta", "key")
				if err := errors.Join(t.run(sqlAddMeta, "key", s.key.Fingerprint()), t.event("", "keyed", nil)); err != nil {
					return err
				}
			}
			return s.tieAll(t)
		})
		if err != nil {
			return err
		}
	}
	var known string
	err := s.look(ctx, func(v *view) error { _, err := v.row(sqlMeta, []any{"key"}, &known); return err })
	if err == nil && known != s.key.Fingerprint() {
		return &fault.Error{Doing: "open ledger", Reason: "the key file is not the one this ledger was made with", Hint: "name the right one with --key"}
	}
	return s.wrap("open ledger", err)
}

// HasKey reports whether the ledger has a key already, so that no second one is
// made for it. It leaves the ledger as it is.
func HasKey(ctx context.Context, file string) (bool, error) {
	noted, err := keyNoted(ctx, file)
	return noted != "", err
}

// Fits reports whether the key is the ledger's. It leaves the ledger as it is.
func Fits(ctx context.Context, key *keyfile.Key, file string) bool {
	noted, err := keyNoted(ctx, file)
	return err == nil && noted == key.Fingerprint()
}

func keyNoted(ctx context.Context, file string) (fingerprint string, err error) {
	if info, err := os.Stat(file); errors.Is(err, fs.ErrNotExist) || err == nil && info.Size() == 0 {
		return "", nil
	}
	s := &Store{file: file}
	if err := s.openAsIs(ctx); err != nil {
		return "", err
	}
	defer s.Close()
	err = s.look(ctx, func(v *view) error { _, err := v.row(sqlMeta, []any{"key"}, &fingerprint); return err })
	return fingerprint, s.wrap("open ledger", err)
}
