package store

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"slices"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/judgement"
	"echotally/internal/packed"
	"echotally/internal/store/form"
	"echotally/internal/store/identity"
	"echotally/internal/store/keyfile"
	"echotally/internal/store/proof"
)

// ErrChanged is given by Commit when what was loaded is no longer what the ledger
// holds: load again.
var ErrChanged = errors.New("the ledger has changed since the study was loaded")

// State is a study as the ledger holds it, with what was found of it now. It is
// for one goroutine. Nothing of it is in the ledger before it is committed.
type State struct {
	StudyInstanceUID string

	store   *Store
	key     *keyfile.Key
	reader  string
	version string // of the study's chain when it was loaded
	person  string // digest of the person's other studies then
	lookup  string // of the person

	id       int64 // 0 when the ledger does not hold it
	date     string
	facts    string
	digest   string // of the study as composed, "" when no report of it was read
	squeezed []byte
	due      bool
	judgings [][2]string // rule set and digest of the state

	who     identity.Claims
	whoNew  bool // the reports say something new of the patient
	others  []other
	objects []*known // of the study, by SHA-256
	added   []added
	demoted []*known // damaged copies whose place a whole one takes
	read    bool     // there is a reading that was not there before
	clean   *packed.Clean
	apart   map[string][]byte // parts of what is to be kept
	parts   *packed.Parts     // these and those of the ledger

	kept     *echo.Study // composed anew
	plain    []byte      // it, packed
	composed bool
	made     *madeRow // once it is asked for
	images   int
	judged   *judgedRow
	receipt  *Receipt
}

// other is another study of the person.
type other struct{ uid, date, digest string }

// added is an object or a reading to be added.
type added struct {
	object Object
	of     *known
	isNew  bool
}

// Judged is what a rule set found of a study, with what figures count of it
// beside the results.
type Judged struct {
	Judgement *judgement.Judgement
	Rules     []finding.About // all of the rule set, in its order
	Counted   []byte          // packed by who counts; nil when nothing is counted
	Counter   string          // what counted: what another one packed is not read
}

// Receipt says what committing came to. It is given only after all of it is on
// disk.
type Receipt struct {
	StudyInstanceUID string // "" for objects of no study
	Objects          []ObjectReceipt
	New              bool // the study was not known
	Changed          bool // what is known of the study has changed
	Judged           bool // there are new results
	Read             bool // the ledger holds a readable report of the study
}

// ObjectReceipt says what became of one object.
type ObjectReceipt struct {
	Path   string // as given; a path may name a patient
	SHA256 string // "" when nothing could be read, so that nothing is recorded
	New    bool   // false: it was in the ledger already
	State  Fate
	Reason string // free of paths
}

// Load gives the state of a study with what was found of it now: each object is
// settled with those the ledger holds. Reader names what read them; another one
// may read more of the same. It needs the key.
func (s *Store) Load(ctx context.Context, uid, reader string, found []Found) (*State, error) {
	if s.key == nil {
		return nil, errNoKey
	}
	st := &State{StudyInstanceUID: uid, store: s, key: s.key, reader: reader, receipt: &Receipt{StudyInstanceUID: uid}, apart: map[string][]byte{}}
	st.parts = s.parts.With(func(name string) []byte { return st.apart[name] })
	err := s.look(ctx, func(v *view) error {
		if err := st.load(s, v, found); err != nil {
			return err
		}
		for i := range found {
			if err := st.take(v, &found[i]); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, s.wrap("load study", err)
	}
	slices.SortFunc(st.objects, func(a, b *known) int { return bytes.Compare([]byte(a.sha256), []byte(b.sha256)) })
	return st, nil
}

func (st *State) load(s *Store, v *view, found []Found) error {
	var err error
	if st.version, err = v.version(st.StudyInstanceUID); err != nil {
		return err
	}
	if _, err := v.row(sqlStudy, []any{st.StudyInstanceUID}, &st.id, &st.date, &st.digest, &st.facts, &st.squeezed); err != nil {
		return err
	}
	if err := v.rows(sqlObjectsOf, []any{st.StudyInstanceUID}, func(rows *sql.Rows) error {
		k, err := scanKnown(rows.Scan)
		st.objects = append(st.objects, k)
		return err
	}); err != nil {
		return err
	}
	if err := v.rows(sqlJudgings, []any{st.id}, func(rows *sql.Rows) error {
		var one [2]string
		err := rows.Scan(&one[0], &one[1])
		st.judgings = append(st.judgings, one)
		return err
	}); err != nil {
		return err
	}
	due, err := v.integer(sqlIsDue, st.StudyInstanceUID)
	if err != nil {
		return err
	}
	st.due = due > 0
	return st.identify(s, v, found)
}

// identify adds what the reports say of the patient, and finds the person's other
// studies.
func (st *State) identify(s *Store, v *view, found []Found) error {
	var err error
	if st.who, err = s.identity(v, st.StudyInstanceUID); err != nil {
		return err
	}
	var names []string
	for _, f := range found {
		if f.Report != nil {
			st.whoNew = st.who.Add(f.Report.Identity) || st.whoNew
			names = append(names, identity.NamesIn(f.Report)...)
		}
		if f.Header != nil {
			st.whoNew = st.who.AddImage(f.Header.Identity) || st.whoNew
		}
	}
	st.clean = identity.Cleaner(append(st.who.Names(), names...))
	st.lookup = s.key.Patient(st.who.First())
	st.others, err = v.othersOf(st.lookup, st.StudyInstanceUID)
	st.person = personOf(st.others)
	return err
}

func (v *view) othersOf(lookup, uid string) (out []other, err error) {
	return out, v.rows(sqlOfPerson, []any{lookup, uid}, func(rows *sql.Rows) error {
		var o other
		err := rows.Scan(&o.uid, &o.date, &o.digest)
		out = append(out, o)
		return err
	})
}

// personOf is a digest of the person's other studies.
func personOf(others []other) string {
	var values []any
	for _, o := range others {
		values = append(values, o.uid, o.date, o.digest)
	}
	return proof.Digest(values)
}

func scanKnown(scan func(...any) error) (*known, error) {
	k := &known{}
	return k, scan(&k.id, &k.sha256, &k.sop, &k.image, (*string)(&k.state), &k.reason, &k.study, &k.reader, &k.content, &k.packed)
}

// find gives an object by its digest or SOP Instance UID, nil when there is none.
func (st *State) find(v *view, query, by string, is func(*known) bool) (*known, error) {
	if i := slices.IndexFunc(st.objects, is); i >= 0 {
		return st.objects[i], nil
	}
	var out *known
	err := v.rows(query, []any{by}, func(rows *sql.Rows) (err error) { out, err = scanKnown(rows.Scan); return err })
	return out, err
}

// take settles one object with what is known.
func (st *State) take(v *view, f *Found) error {
	out := ObjectReceipt{Path: f.Path, SHA256: f.SHA256, State: f.State, Reason: f.Reason}
	defer func() { st.receipt.Objects = append(st.receipt.Objects, out) }()
	if f.SHA256 == "" {
		return nil
	}
	k, err := st.find(v, sqlObjectBySum, f.SHA256, func(k *known) bool { return k.sha256 == f.SHA256 })
	if err != nil {
		return err
	}
	if k != nil {
		out.State, out.Reason = k.state, k.reason
		if k.reader == st.reader {
			return nil
		}
	}
	fresh, content := st.pack(f)
	if out.New = k == nil; out.New {
		k = &known{sha256: f.SHA256, sop: f.SOPInstanceUID, image: f.Object.Image, study: st.StudyInstanceUID}
		if err := st.settle(v, f, fresh, content, &out); err != nil {
			return err
		}
		k.state, k.reason = out.State, out.Reason
		st.objects = append(st.objects, k)
	}
	takes := fresh != nil && (k.state == Read || k.state == Partial) && !k.same(fresh)
	if takes {
		k.fresh, k.content, k.reader = fresh, content, st.reader
		st.read = true
	}
	if out.New || takes {
		st.added = append(st.added, added{f.Object, k, out.New})
	}
	return nil
}

// settle decides about an object under a SOP Instance UID that the ledger knows
// with other bytes: the same content again is a copy, a whole one takes the
// place of a damaged one, and of two contents it cannot be told which is right.
func (st *State) settle(v *view, f *Found, fresh []byte, content string, out *ObjectReceipt) error {
	if f.SOPInstanceUID == "" || content == "" {
		return nil
	}
	k, err := st.find(v, sqlObjectBySOP, f.SOPInstanceUID, func(k *known) bool {
		return k.sop == f.SOPInstanceUID && (k.state == Read || k.state == Partial)
	})
	if err != nil || k == nil {
		return err
	}
	other := "object " + k.sha256[:12]
	switch {
	case k.says(content, fresh, st.parts):
		out.State, out.Reason = Ignored, "same object as "+other
	case out.State == Partial:
		out.State, out.Reason = Ignored, "damaged copy of "+other
	case k.state == Partial:
		k.state, k.reason = Ignored, "damaged copy of object "+f.SHA256[:12]
		st.demoted = append(st.demoted, k)
	default:
		out.State, out.Reason = Refused, "same SOP Instance UID as "+other+" but other content: which is right cannot be told"
	}
	return nil
}

// Identity is who the study is of, as all its reports say.
func (st *State) Identity() echo.Identity { return st.who.First() }

// Contradictions lists in what the objects of the study name two persons.
func (st *State) Contradictions() []echo.Contradiction {
	var out []echo.Contradiction
	for _, of := range st.who.Contradictions() {
		out = append(out, echo.Contradiction{Of: of, Within: echo.AmongObjects})
	}
	return out
}

// Composing reports whether the study is to be composed anew: a reading was
// added, or there may be another study to compare it with.
func (st *State) Composing() bool {
	return st.read || st.id == 0 || st.due || slices.ContainsFunc(st.others, func(o other) bool { return o.date < st.date })
}

// Readings gives the last reading of each object of the study that counts.
func (st *State) Readings() (reports []*echo.Study, images []*echo.Image, err error) {
	for _, k := range st.objects {
		switch {
		case !k.counts() || k.study != st.StudyInstanceUID:
		case k.image:
			image := &echo.Image{}
			images, err = append(images, image), errors.Join(err, k.unpack(image, st.parts))
		default:
			report := &echo.Study{}
			reports, err = append(reports, report), errors.Join(err, k.unpack(report, st.parts))
		}
	}
	st.images = len(images)
	return reports, images, err
}

// Earlier gives the person's studies of earlier days than the date, a DA, with
// their identity: what a study is compared with is one of them.
func (s *Store) Earlier(ctx context.Context, st *State, date string) ([]*echo.Study, error) {
	var out []*echo.Study
	err := s.look(ctx, func(v *view) error {
		for _, o := range st.others {
			if date == "" || o.date >= day(date) {
				continue
			}
			var squeezed []byte
			if _, err := v.row(sqlPacked, []any{o.uid}, &squeezed); err != nil {
				return err
			}
			one := &echo.Study{}
			if err := form.Unpack(squeezed, one, s.parts); err != nil {
				return err
			}
			who, err := s.identity(v, o.uid)
			if err != nil {
				return err
			}
			one.Identity = who.First()
			out = append(out, one)
		}
		return nil
	})
	return out, s.wrap("read earlier studies", err)
}

// Compose takes the study as it is composed now; nil when there is no report of
// it. What is kept of it, without identity and names, is what [State.Study] gives.
func (st *State) Compose(study *echo.Study) error {
	st.composed, st.made = true, nil
	if study == nil {
		st.plain, st.kept = nil, nil
		return nil
	}
	st.plain, st.kept = st.keep(study), &echo.Study{}
	return form.Study.Unpack(st.plain, st.kept, st.parts)
}

// Study is the study as it is kept: what is judged, so that judging what is kept
// comes to the same. It is nil when there is no report of it.
func (st *State) Study() (*echo.Study, error) {
	if st.composed || st.squeezed == nil {
		return st.kept, nil
	}
	st.kept = &echo.Study{}
	return st.kept, form.Unpack(st.squeezed, st.kept, st.parts)
}

// madeRow is the study's row as it is to be.
type madeRow struct {
	Facts
	facts, digest string
	squeezed      []byte
	changed       bool
}

// row is the study's row as it is to be: unchanged when it was composed to the
// same.
func (st *State) row() (*madeRow, error) {
	if st.made == nil {
		f, facts, digest, squeezed, changed, err := st.makeRow()
		if err != nil {
			return nil, err
		}
		st.made = &madeRow{f, facts, digest, squeezed, changed}
	}
	return st.made, nil
}

func (st *State) makeRow() (f Facts, facts, digest string, squeezed []byte, changed bool, err error) {
	if !st.composed {
		return f, st.facts, st.digest, st.squeezed, false, nil
	}
	f = factsOf(st.kept, st.images)
	text, err := json.Marshal(f)
	if err != nil {
		return f, "", "", nil, false, err
	}
	facts = string(text)
	if st.plain != nil {
		digest = form.Digest(st.plain)
		if st.squeezed != nil && st.digest != digest {
			// Version 1 packed in another form.
			if before, err := form.Repacked(st.squeezed, &echo.Study{}); err == nil && bytes.Equal(before, st.plain) {
				digest = st.digest
			}
		}
	}
	if digest == st.digest && sameFacts(facts, st.facts) {
		return f, st.facts, st.digest, st.squeezed, false, nil
	}
	return f, facts, digest, st.plain, true, nil
}

// sameFacts compares facts as far as they are kept today: version 1 kept more.
func sameFacts(a, b string) bool {
	var x, y Facts
	if json.Unmarshal([]byte(a), &x) != nil || json.Unmarshal([]byte(b), &y) != nil {
		return false
	}
	return x.Date == y.Date && x.Station == y.Station && x.Verified == y.Verified && x.Images == y.Images && slices.Equal(x.Staff, y.Staff)
}

// Judging reports whether there is a study that the rule set has not judged as it
// is now.
func (st *State) Judging(ruleset string) (bool, error) {
	row, err := st.row()
	return err == nil && row.digest != "" && !slices.Contains(st.judgings, [2]string{ruleset, row.digest}), err
}

// Judge takes what was found of the study, and packs it: committing, which goes on for
// one study at a time, is left little to do.
func (st *State) Judge(j *Judged) error {
	row, err := st.row()
	if err == nil {
		st.judged, err = rowOf(j, st.store.formOf(j.Rules), row.digest)
	}
	return err
}
