package store

import (
	"context"
	"encoding/json"
	"strconv"

	"echotally/internal/packed"
)

// Commit brings a state into the ledger, if the ledger still holds of the study
// and its person what it held when it was loaded; otherwise ErrChanged is given
// and nothing is written. Why says in words what led to it. It returns after all
// is on disk; several that wait are written together.
func (s *Store) Commit(ctx context.Context, st *State, why map[string]string) (*Receipt, error) {
	err := s.write(ctx, "record study", func(t *tx) error { return st.commit(t, why) })
	if err != nil {
		return nil, err
	}
	return st.receipt, nil
}

// CommitTogether is Commit of several states, which are brought to the disk at
// once. Of each it gives the receipt, or why it is not in the ledger; one that is
// not leaves the others as they are.
func (s *Store) CommitTogether(ctx context.Context, states []*State, why map[string]string) ([]*Receipt, []error) {
	works := make([]*work, len(states))
	for i, st := range states {
		works[i] = &work{ctx: ctx, do: func(t *tx) error { return st.commit(t, why) }}
	}
	s.writeAll("record study", works...)
	receipts, errs := make([]*Receipt, len(states)), make([]error, len(states))
	for i, one := range works {
		if errs[i] = one.err; one.err == nil {
			receipts[i] = states[i].receipt
		}
	}
	return receipts, errs
}

func (st *State) commit(t *tx, why map[string]string) error {
	if err := st.unchanged(t); err != nil {
		return err
	}
	uid := st.StudyInstanceUID
	r := st.receipt
	r.New, r.Changed, r.Judged = st.id == 0, false, false
	id := st.id
	if r.New {
		var err error
		if id, err = t.insert(sqlAddStudy, uid); err != nil {
			return err
		}
		t.touch("study", uid)
	}
	if err := st.commitIdentity(t); err != nil {
		return err
	}
	if err := st.commitObjects(t, id); err != nil {
		return err
	}
	if err := t.keepParts(st.apart); err != nil {
		return err
	}
	row, err := st.row()
	if err != nil {
		return err
	}
	r.Read = row.digest != ""
	if row.changed {
		r.Changed = !r.New
		t.touch("study", uid)
		if err := t.run(sqlSetStudy, row.Date, row.Station, row.facts, row.squeezed, row.digest, uid); err != nil {
			return err
		}
	}
	if st.judged != nil {
		if err := t.judged(id, st.judged); err != nil {
			return err
		}
		r.Judged = true
	}
	if err := st.settleDue(t, row.Facts, r.New || r.Changed); err != nil || len(t.touched) == 0 {
		return err
	}
	return t.event(uid, "recorded", why)
}

// unchanged holds the ledger against what was loaded.
func (st *State) unchanged(t *tx) error {
	now, err := t.version(st.StudyInstanceUID)
	if err != nil {
		return err
	}
	others, err := t.othersOf(st.lookup, st.StudyInstanceUID)
	if err != nil {
		return err
	}
	if now != st.version || personOf(others) != st.person {
		return ErrChanged
	}
	for _, a := range st.added {
		if !a.isNew {
			continue
		}
		known, err := t.integer(sqlObjectID, a.object.SHA256)
		if err != nil {
			return err
		}
		if known > 0 {
			return ErrChanged
		}
		if a.object.SOPInstanceUID == "" || a.of.state != Read && a.of.state != Partial {
			continue
		}
		// Another study may have brought the SOP Instance UID meanwhile.
		rival, err := (&State{}).find(&t.view, sqlObjectBySOP, a.object.SOPInstanceUID, nil)
		if err != nil {
			return err
		}
		if rival != nil && !st.settled(rival.sha256) {
			return ErrChanged
		}
	}
	return nil
}

// settled reports whether an object was there when the others were settled.
func (st *State) settled(sha256 string) bool {
	for _, k := range st.demoted {
		if k.sha256 == sha256 {
			return true
		}
	}
	return false
}

func (st *State) commitIdentity(t *tx) error {
	uid := st.StudyInstanceUID
	if err := t.tie(uid, st.lookup); err != nil || !st.whoNew {
		return err
	}
	text, err := json.Marshal(st.who)
	if err != nil {
		return err
	}
	lookup := st.key.Lookup(st.who.First().AccessionNumber.Reveal())
	if err := t.sealText("study", uid, lookup, string(text)); err != nil || lookup == "" {
		return err
	}
	waiting, err := column[int64](&t.view, sqlStampWaiting, lookup)
	if err != nil {
		return err
	}
	for _, id := range waiting {
		t.touch("stamp", id)
		if err := t.run(sqlTieStamp, uid, id); err != nil {
			return err
		}
	}
	return nil
}

func (st *State) commitObjects(t *tx, study int64) error {
	for _, k := range st.demoted {
		t.touch("object", k.sha256)
		if err := t.run(sqlSetObject, string(k.state), k.reason, k.sha256); err != nil {
			return err
		}
	}
	for _, a := range st.added {
		id := a.of.id
		if a.isNew {
			o := a.object
			o.State, o.Reason = a.of.state, a.of.reason
			var err error
			if id, err = t.addObject(&o, study); err != nil {
				return err
			}
		}
		if a.of.fresh == nil {
			continue
		}
		reading, err := t.insert(sqlAddReading, id, st.reader, a.of.content, packed.Squeeze(a.of.fresh))
		if err != nil {
			return err
		}
		t.touch("reading", reading)
	}
	return nil
}

// settleDue takes the study off the list of those to be compared anew, and puts
// the person's later ones on it when it has changed.
func (st *State) settleDue(t *tx, f Facts, changed bool) error {
	if st.due {
		if err := t.drop("due", st.StudyInstanceUID, sqlDropDue, st.StudyInstanceUID); err != nil {
			return err
		}
	}
	if !changed || f.Date == "" || st.due && !st.read {
		return nil // what it is compared with makes no difference to those after it
	}
	for _, o := range st.others {
		if o.date > f.Date {
			t.touch("due", o.uid)
			if err := t.run(sqlAddDue, o.uid); err != nil {
				return err
			}
		}
	}
	return nil
}

// Due lists the studies to be compared anew, since one that may stand before them
// was recorded after them: load and commit each of them, with nothing found.
func (s *Store) Due(ctx context.Context) ([]string, error) {
	var out []string
	err := s.look(ctx, func(v *view) (err error) { out, err = column[string](v, sqlDue); return err })
	return out, s.wrap("read ledger", err)
}

// addObject adds an object and, sealed, the path it came from.
func (t *tx) addObject(o *Object, study any) (int64, error) {
	if err := t.sealText("path", o.SHA256, "", o.Path); err != nil {
		return 0, err
	}
	t.touch("object", o.SHA256)
	return t.insert(sqlAddObject, o.SHA256, o.SOPInstanceUID, o.SOPClassUID, study, boolBit(o.Image), string(o.State), o.Reason, t.now)
}

// CommitUnread takes in objects of no study: refused files, and those that are
// no report. Files of which nothing was read leave only an event.
func (s *Store) CommitUnread(ctx context.Context, objects []Object) (*Receipt, error) {
	if s.key == nil {
		return nil, errNoKey
	}
	receipt := &Receipt{}
	err := s.write(ctx, "record objects", func(t *tx) error {
		receipt.Objects = nil
		unreadable := 0
		for i := range objects {
			o := &objects[i]
			out := ObjectReceipt{Path: o.Path, SHA256: o.SHA256, State: o.State, Reason: o.Reason}
			if o.SHA256 == "" {
				unreadable += boolBit(o.State == Refused)
				receipt.Objects = append(receipt.Objects, out)
				continue
			}
			known, err := t.row(sqlObjectState, []any{o.SHA256}, (*string)(&out.State), &out.Reason)
			if err != nil {
				return err
			}
			if out.New = !known; out.New {
				if _, err := t.addObject(o, nil); err != nil {
					return err
				}
			}
			receipt.Objects = append(receipt.Objects, out)
		}
		if len(t.touched) == 0 && unreadable == 0 {
			return nil
		}
		return t.event("", "unread", map[string]string{"unreadable": strconv.Itoa(unreadable)})
	})
	if err != nil {
		return nil, err
	}
	return receipt, nil
}
