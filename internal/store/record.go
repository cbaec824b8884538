package store

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"maps"
	"slices"
	"strconv"
	"strings"

	"echotally/internal/echo"
	"echotally/internal/run"
)

// Auditor composes a study of what was read of its objects and judges it. It
// must give the same for the same.
type Auditor struct {
	Program string // version of the program that reads
	RuleSet run.RuleSet
	Compose func(reports []*echo.Study, images []*echo.Image) *echo.Study
	Judge   func(*echo.Study) *run.Study
}

// Receipt says what recording came to. It is given only after all of it is on
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
	State  run.State
	Reason string // free of paths
}

// Record takes in what was read of a study: its objects, the study composed of
// all its objects ever recorded, and the results of the rules. What is known
// already changes nothing.
func (s *Store) Record(ctx context.Context, read *run.Study, by Auditor) (*Receipt, error) {
	receipt := &Receipt{StudyInstanceUID: read.StudyInstanceUID}
	if s.key == nil {
		return nil, errNoKey
	}
	err := s.write(ctx, "record study", func(t *tx) error {
		r := &recording{store: s, tx: t, by: by, read: read, receipt: receipt}
		return r.run()
	})
	if err != nil {
		return nil, err
	}
	return receipt, nil
}

// recording is one study being recorded.
type recording struct {
	*tx
	store   *Store
	by      Auditor
	read    *run.Study
	receipt *Receipt
	id      int64 // of the study
	digest  string
	clean   func(field, text string) string
}

func (r *recording) run() error {
	uid := r.read.StudyInstanceUID
	if err := r.store.tieAll(r.tx); err != nil {
		return err
	}
	known, err := r.row("SELECT id, digest FROM study WHERE uid = ?", []any{uid}, &r.id, &r.digest)
	if err != nil {
		return err
	}
	if !known {
		if r.id, err = r.insert("INSERT INTO study (uid) VALUES (?)", uid); err != nil {
			return err
		}
		r.receipt.New = true
		r.touch("study", uid)
	}
	reports := slices.Collect(maps.Values(r.read.Reports))
	who, err := r.store.identify(r.tx, uid, reports)
	if err != nil {
		return err
	}
	names := who.names()
	for _, report := range reports {
		names = append(names, namesOf(report)...)
	}
	r.clean = cleaner(names)
	read := false
	for i := range r.read.Objects {
		added, err := r.object(&r.read.Objects[i])
		if err != nil {
			return err
		}
		read = read || added
	}
	if err := r.compose(known, read); err != nil {
		return err
	}
	if r.receipt.New || r.receipt.Changed {
		if err := r.passOn(); err != nil {
			return err
		}
	}
	if len(r.touched) == 0 {
		return nil
	}
	return r.event("recorded", uid, map[string]string{"rules": r.by.RuleSet.Digest, "program": r.by.Program})
}

// object records one object; it tells whether there is a reading that was not
// there before.
func (r *recording) object(o *run.Object) (bool, error) {
	out := ObjectReceipt{Path: o.Path, SHA256: o.SHA256, State: o.State, Reason: withoutPath(o)}
	defer func() { r.receipt.Objects = append(r.receipt.Objects, out) }()
	if o.SHA256 == "" {
		return false, nil
	}
	var (
		id     int64
		reader string
	)
	known, err := r.row(`SELECT o.id, o.state, o.reason, coalesce((SELECT reader FROM reading WHERE object_id = o.id ORDER BY id DESC LIMIT 1), '')
		FROM object o WHERE o.sha256 = ?`, []any{o.SHA256}, &id, &out.State, &out.Reason, &reader)
	if err != nil || known && reader == r.reader() {
		return false, err
	}
	packed, content := r.pack(o)
	if !known {
		out.New = true
		if err := r.settle(o, content, &out); err != nil {
			return false, err
		}
		if id, err = r.store.addObject(r.tx, o, r.id, out.State, out.Reason); err != nil {
			return false, err
		}
	}
	if packed == nil || out.State != run.Read && out.State != run.Partial {
		return false, nil
	}
	return r.addReading(id, packed, content)
}

// reader tells what reads: another version or rule set may read more.
func (r *recording) reader() string { return r.by.Program + " " + r.by.RuleSet.Digest }

// pack packs what was read of an object; nil when it is neither report nor
// image. The digest is of what it says, whatever names are taken out.
func (r *recording) pack(o *run.Object) (packed []byte, content string) {
	if report := r.read.Reports[o.Path]; report != nil {
		return r.packReport(report)
	}
	if image := r.read.ImageHeaders[o.Path]; image != nil {
		return pack(image, r.clean), sum(pack(image, asItIs))
	}
	return nil, ""
}

func asItIs(_, text string) string { return text }

// addObject adds an object and, sealed, the path it came from.
func (s *Store) addObject(t *tx, o *run.Object, study any, state run.State, reason string) (int64, error) {
	if err := s.seal(t, "path", o.SHA256, "", o.Path); err != nil {
		return 0, err
	}
	t.touch("object", o.SHA256)
	return t.insert("INSERT INTO object (sha256, sop_uid, sop_class, study_id, image, state, reason, at) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
		o.SHA256, o.SOPInstanceUID, o.SOPClassUID, study, boolBit(o.Image), string(state), reason, t.now)
}

// addReading adds what was read of an object unless the last reading says the
// same.
func (r *recording) addReading(object int64, packed []byte, content string) (bool, error) {
	var last []byte
	if _, err := r.row("SELECT packed FROM reading WHERE object_id = ? ORDER BY id DESC LIMIT 1", []any{object}, &last); err != nil {
		return false, err
	}
	if before, err := loosen(last); err == nil && string(before) == string(packed) {
		return false, nil
	}
	id, err := r.insert("INSERT INTO reading (object_id, reader, content, packed) VALUES (?, ?, ?, ?)", object, r.reader(), content, squeeze(packed))
	r.touch("reading", id)
	return true, err
}

// settle decides about an object under a SOP Instance UID that the ledger knows
// with other bytes: the same content again is a copy, a whole one takes the
// place of a damaged one, and of two contents it cannot be told which is right.
func (r *recording) settle(o *run.Object, content string, out *ObjectReceipt) error {
	if o.SOPInstanceUID == "" || content == "" {
		return nil
	}
	var (
		sha256, state, known string
	)
	found, err := r.row(`SELECT o.sha256, o.state, coalesce((SELECT content FROM reading WHERE object_id = o.id ORDER BY id DESC LIMIT 1), '')
		FROM object o WHERE o.sop_uid = ? AND o.state IN ('read', 'partial') ORDER BY o.id LIMIT 1`, []any{o.SOPInstanceUID}, &sha256, &state, &known)
	if err != nil || !found {
		return err
	}
	other := "object " + sha256[:12]
	switch {
	case known == content:
		out.State, out.Reason = run.Ignored, "same object as "+other
	case out.State == run.Partial:
		out.State, out.Reason = run.Ignored, "damaged copy of "+other
	case state == string(run.Partial):
		r.touch("object", sha256)
		return r.tx.run("UPDATE object SET state = ?, reason = ? WHERE sha256 = ?", string(run.Ignored), "damaged copy of object "+o.SHA256[:12], sha256)
	default:
		out.State, out.Reason = run.Refused, "same SOP Instance UID as "+other+" but other content: which is right cannot be told"
	}
	return nil
}

// withoutPath gives the reason of an object without the path it may name.
func withoutPath(o *run.Object) string {
	if o.Other == "" {
		return o.Reason
	}
	return strings.ReplaceAll(o.Reason, o.Other, "another file")
}

func sum(b []byte) string {
	h := sha256.Sum256(b)
	return hex.EncodeToString(h[:])
}

// packReport packs a report and gives the digest of its content, which does not
// depend on the catalogues nor on how the report was encoded.
func (r *recording) packReport(report *echo.Study) (packed []byte, content string) {
	one := *report
	one.Subject.AgeYears = coarseAge(report.Subject.AgeYears)
	one.Documents = slices.Clone(report.Documents)
	for i := range one.Documents {
		d := &one.Documents[i]
		d.Staff = slices.Clone(d.Staff)
		for k := range d.Staff {
			d.Staff[k].Pseudonym = r.store.key.Pseudonym(d.Staff[k].Name.Reveal())
		}
	}
	packed = pack(&one, r.clean)
	one.Documents = slices.Clone(one.Documents)
	for i := range one.Documents {
		one.Documents[i].Deviations = nil
	}
	one.Statements = nil
	one.Measurements = slices.Clone(one.Measurements)
	for i := range one.Measurements {
		m := &one.Measurements[i]
		m.Measurand, m.Canonical, m.Problems = "", nil, nil
	}
	return packed, sum(pack(&one, asItIs))
}

// compose makes the study anew when a reading was added or it is compared with
// another, and judges it when this rule set has not judged it as it is.
func (r *recording) compose(known, added bool) error {
	anew := added || !known
	if !anew {
		var err error
		if anew, err = r.hasEarlier(); err != nil {
			return err
		}
	}
	if anew {
		reports, images, err := r.readings()
		if err != nil {
			return err
		}
		study := r.by.Compose(reports, images)
		if err := r.compare(study); err != nil {
			return err
		}
		if err := r.replace(study, len(images)); err != nil {
			return err
		}
	}
	if r.receipt.Read = r.digest != ""; !r.receipt.Read {
		return nil // nothing to judge
	}
	judged, err := r.integer(`SELECT count(*) FROM judgement j JOIN ruleset s ON s.id = j.ruleset_id
		WHERE j.study_id = ? AND s.digest = ? AND j.digest = ?`, r.id, r.by.RuleSet.Digest, r.digest)
	if err != nil || judged > 0 {
		return err
	}
	return r.judge()
}

// readings gives the last reading of each object of the study that counts.
func (r *recording) readings() (reports []*echo.Study, images []*echo.Image, err error) {
	rows, err := r.sql.QueryContext(r.ctx, `SELECT o.image, r.packed FROM object o JOIN reading r ON r.object_id = o.id
		WHERE o.study_id = ? AND o.state IN ('read', 'partial') AND r.id = (SELECT max(id) FROM reading WHERE object_id = o.id) ORDER BY o.sha256`, r.id)
	if err != nil {
		return nil, nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var (
			isImage bool
			packed  []byte
		)
		if err := rows.Scan(&isImage, &packed); err != nil {
			return nil, nil, err
		}
		if isImage {
			image := &echo.Image{}
			images, err = append(images, image), unkeep(packed, image)
		} else {
			report := &echo.Study{}
			reports, err = append(reports, report), unkeep(packed, report)
		}
		if err != nil {
			return nil, nil, err
		}
	}
	return reports, images, rows.Err()
}

// replace notes the study as it is now composed.
func (r *recording) replace(study *echo.Study, images int) error {
	var (
		packed []byte
		digest string
	)
	if study != nil {
		plain := pack(study, r.clean)
		packed, digest = squeeze(plain), sum(plain)
	}
	f := factsOf(study)
	f.Images = images
	text, err := json.Marshal(f)
	if err != nil {
		return err
	}
	uid := r.read.StudyInstanceUID
	same, err := r.integer("SELECT count(*) FROM study WHERE uid = ? AND digest = ? AND facts = ?", uid, digest, string(text))
	if err != nil || same > 0 {
		return err
	}
	r.digest, r.receipt.Changed = digest, !r.receipt.New
	r.touch("study", uid)
	return r.tx.run("UPDATE study SET date = ?, station = ?, facts = ?, packed = ?, digest = ? WHERE uid = ?",
		f.Date, f.Station, string(text), packed, digest, uid)
}

// RecordUnread takes in objects of no study: refused files, and those that are
// no report. Files of which nothing was read leave only an event.
func (s *Store) RecordUnread(ctx context.Context, objects []run.Object) (*Receipt, error) {
	if s.key == nil {
		return nil, errNoKey
	}
	receipt := &Receipt{}
	err := s.write(ctx, "record objects", func(t *tx) error {
		unreadable := 0
		for i := range objects {
			o := &objects[i]
			out := ObjectReceipt{Path: o.Path, SHA256: o.SHA256, State: o.State, Reason: withoutPath(o)}
			if o.SHA256 == "" {
				unreadable += boolBit(o.State == run.Refused)
				receipt.Objects = append(receipt.Objects, out)
				continue
			}
			known, err := t.row("SELECT state, reason FROM object WHERE sha256 = ?", []any{o.SHA256}, &out.State, &out.Reason)
			if err != nil {
				return err
			}
			if out.New = !known; out.New {
				if _, err := s.addObject(t, o, nil, o.State, out.Reason); err != nil {
					return err
				}
			}
			receipt.Objects = append(receipt.Objects, out)
		}
		if len(t.touched) == 0 && unreadable == 0 {
			return nil
		}
		return t.event("unread", "", map[string]string{"unreadable": strconv.Itoa(unreadable)})
	})
	if err != nil {
		return nil, err
	}
	return receipt, nil
}
