package store

import (
	"context"
	"encoding/json"
	"errors"
	"slices"
	"strings"

	"echotally/internal/echo"
)

// identity is who a study is of, as its objects say. More than one value means
// that they do not agree.
type identity struct {
	PatientName, PatientID, AccessionNumber, BirthDate []string
	IssuerOfPatientID                                  []string `json:",omitempty"`

	OfImages *identity `json:",omitempty"` // what the images say; only compared
}

// addImage takes in what an image says.
func (i *identity) addImage(e echo.Identity) (changed bool) {
	if e == (echo.Identity{}) {
		return false
	}
	if i.OfImages == nil {
		i.OfImages = &identity{}
	}
	return i.OfImages.add(e)
}

// add takes in what a report says; it tells whether anything was new.
func (i *identity) add(e echo.Identity) (changed bool) {
	for _, f := range []struct {
		to   *[]string
		from echo.Protected
	}{{&i.PatientName, e.PatientName}, {&i.PatientID, e.PatientID}, {&i.AccessionNumber, e.AccessionNumber}, {&i.BirthDate, e.BirthDate}, {&i.IssuerOfPatientID, e.IssuerOfPatientID}} {
		if text := f.from.Reveal(); text != "" && !slices.Contains(*f.to, text) {
			*f.to, changed = append(*f.to, text), true
		}
	}
	return changed
}

func (i *identity) first() echo.Identity {
	first := func(list []string) echo.Protected {
		if len(list) == 0 {
			return ""
		}
		return echo.Protected(list[0])
	}
	return echo.Identity{PatientName: first(i.PatientName), PatientID: first(i.PatientID), AccessionNumber: first(i.AccessionNumber), BirthDate: first(i.BirthDate), IssuerOfPatientID: first(i.IssuerOfPatientID)}
}

// contradictions lists in what the objects name two persons.
func (i *identity) contradictions() []echo.Attribute {
	var out []echo.Attribute
	at := func(list []string, k int) echo.Protected {
		if len(list) == 0 {
			return ""
		}
		return echo.Protected(list[min(k, len(list)-1)])
	}
	first := i.first()
	compare := func(with *identity, from int) {
		for k := from; k < max(len(with.PatientName), len(with.PatientID), len(with.AccessionNumber), len(with.BirthDate)); k++ {
			out = append(out, first.Contradicts(echo.Identity{PatientName: at(with.PatientName, k), PatientID: at(with.PatientID, k), AccessionNumber: at(with.AccessionNumber, k),
				BirthDate: at(with.BirthDate, k), IssuerOfPatientID: at(with.IssuerOfPatientID, k)})...)
		}
	}
	compare(i, 1)
	if i.OfImages != nil {
		compare(i.OfImages, 0)
	}
	return out
}

// names are the texts that name the person; whose number the ID is does not.
func (i *identity) names() []string {
	own := slices.Concat(i.PatientName, i.PatientID, i.AccessionNumber, i.BirthDate)
	if i.OfImages != nil {
		own = append(own, i.OfImages.names()...)
	}
	return own
}

// sealText puts a text under the key. The kind and reference are sealed with it,
// so that a row cannot be moved to another study.
func (t *tx) sealText(kind, ref, lookup, text string) error {
	key := t.store.key
	if key == nil {
		return errNoKey
	}
	t.touch("identity", kind+":"+ref)
	return t.run(sqlSeal, kind, ref, lookup, key.seal.Seal(nil, nil, []byte(text), []byte(kind+":"+ref)))
}

var errNoKey = &Error{Doing: "open identity", Reason: "it is sealed and no key was given", Hint: "name the key file with --key"}

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
	text, err := s.key.seal.Open(nil, nil, sealed, []byte(kind+":"+ref))
	if err != nil {
		return "", &Error{Doing: "open identity", Reason: "the sealed text was changed, or sealed with another key", Hint: "echotally ledger verify tells which"}
	}
	return string(text), nil
}

// Identity gives who a study is of. It needs the key.
func (s *Store) Identity(ctx context.Context, uid string) (echo.Identity, error) {
	var who identity
	err := s.look(ctx, func(v *view) (err error) { who, err = s.identity(v, uid); return err })
	return who.first(), s.wrap("open identity", err)
}

func (s *Store) identity(v *view, uid string) (identity, error) {
	var who identity
	text, err := s.unseal(v, "study", uid)
	if err == nil && text != "" {
		err = json.Unmarshal([]byte(text), &who)
	}
	return who, err
}

// Studies of one person are tied by a row of the kind patient, whose lookup is
// the keyed hash of patient ID and issuer. It shows that two studies are of one
// person to whoever has the file, and of whom to nobody without the key.

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
			err = t.tie(uid, s.key.patient(who.first()))
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
