package store

import (
	"context"
	"errors"
	"strings"

	"echotally/internal/echo"
	"echotally/internal/judgement"
	"echotally/internal/run"
	"echotally/internal/run/prior"
)

// What stands in this file is the order of the work as the tests of the ledger
// need it, without files; the program's own is in desk.

// Auditor composes a study of what was read of its objects and judges it. It
// must give the same for the same.
type Auditor struct {
	Program string // version of the program that reads
	RuleSet judgement.Library
	Compose func(reports []*echo.Study, images []*echo.Image) *echo.Study
	Judge   func(*echo.Study) (*Judged, error)
}

// attempts are how often a study is loaded anew when others change it meanwhile.
const attempts = 100

// Record takes in what was read of a study: its objects, the study composed of
// all its objects ever recorded, and the results of the rules. What is known
// already changes nothing. The person's later studies are then compared anew.
func (s *Store) Record(ctx context.Context, read *run.Study, by Auditor) (*Receipt, error) {
	receipt, err := s.record(ctx, read.StudyInstanceUID, found(read), by)
	if err != nil {
		return nil, err
	}
	due, err := s.Due(ctx)
	for _, uid := range due {
		if err == nil {
			_, err = s.record(ctx, uid, nil, by)
		}
	}
	return receipt, err
}

// record loads a study, composes and judges it, and commits it if it is still
// what was loaded.
func (s *Store) record(ctx context.Context, uid string, found []Found, by Auditor) (*Receipt, error) {
	for try := 1; ; try++ {
		st, err := s.Load(ctx, uid, by.Program+" "+by.RuleSet.Digest, found)
		if err != nil {
			return nil, err
		}
		if err := s.compose(ctx, st, by); err != nil {
			return nil, err
		}
		receipt, err := s.Commit(ctx, st, map[string]string{"rules": by.RuleSet.Digest, "program": by.Program})
		if !errors.Is(err, ErrChanged) || try == attempts {
			return receipt, err
		}
	}
}

func (s *Store) compose(ctx context.Context, st *State, by Auditor) error {
	if st.Composing() {
		reports, images, err := st.Readings()
		if err != nil {
			return err
		}
		study := by.Compose(reports, images)
		if study != nil {
			earlier, err := s.Earlier(ctx, st, study.StudyDate)
			if err != nil {
				return err
			}
			identified := *study
			identified.Identity = st.Identity()
			study.Prior = prior.Of(&identified, earlier)
		}
		if err := st.Compose(study); err != nil {
			return err
		}
	}
	judging, err := st.Judging(by.RuleSet.Digest)
	if err != nil || !judging {
		return err
	}
	study, err := st.Study()
	if err != nil {
		return err
	}
	judged, err := by.Judge(study)
	if err == nil {
		st.Judge(judged)
	}
	return err
}

// RecordUnread takes in objects of no study.
func (s *Store) RecordUnread(ctx context.Context, objects []run.Object) (*Receipt, error) {
	out := make([]Object, len(objects))
	for i := range objects {
		out[i] = object(&objects[i])
	}
	return s.CommitUnread(ctx, out)
}

func found(read *run.Study) []Found {
	out := make([]Found, len(read.Objects))
	for i := range read.Objects {
		o := &read.Objects[i]
		out[i] = Found{Object: object(o), Report: read.Reports[o.Path], Header: read.ImageHeaders[o.Path]}
	}
	return out
}

func object(o *run.Object) Object {
	out := Object{Path: o.Path, SHA256: o.SHA256, SOPInstanceUID: o.SOPInstanceUID, SOPClassUID: o.SOPClassUID, Image: o.Image, State: Fate(o.State), Reason: o.Reason}
	if o.Other != "" { // a path may name a patient
		out.Reason = strings.ReplaceAll(o.Reason, o.Other, "another file")
	}
	return out
}

// JudgedOf is a judgement with what its rules say of themselves.
func JudgedOf(j *judgement.Judgement) *Judged {
	out := &Judged{Judgement: j}
	for _, res := range j.All() {
		out.Rules = append(out.Rules, *res.About)
	}
	return out
}
