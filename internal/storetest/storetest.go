// Package storetest is the contract of a ledger as tests: whatever stands behind
// the interface must pass them. It says nothing of files, keys or tampering, which
// are matters of the one that keeps them.
package storetest

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"iter"
	"sync"
	"testing"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/extract"
	"echotally/internal/finding"
	"echotally/internal/judgement"
	"echotally/internal/store"
	"echotally/internal/store/proof"
)

// Ledger is what recording, figures and pages ask of a ledger.
type Ledger interface {
	Load(ctx context.Context, uid, reader string, found []store.Found) (*store.State, error)
	Earlier(ctx context.Context, st *store.State, date string) ([]*echo.Study, error)
	Commit(ctx context.Context, st *store.State, why map[string]string) (*store.Receipt, error)
	CommitTogether(ctx context.Context, states []*store.State, why map[string]string) ([]*store.Receipt, []error)
	CommitUnread(ctx context.Context, objects []store.Object) (*store.Receipt, error)
	Due(ctx context.Context) ([]string, error)
	Judgement(ctx context.Context, uid, ruleset string) (*judgement.Judgement, *echo.Study, error)
	LatestRuleSet(ctx context.Context) (string, error)
	Studies(ctx context.Context, period store.Period, filter store.Filter, ruleset string) iter.Seq2[*store.Study, error]
	CountedStudies(ctx context.Context, period store.Period, filter store.Filter, ruleset, counter string) iter.Seq2[*store.Study, error]
	Verify(ctx context.Context, head string) (*proof.Proof, error)
}

// Run puts the contract to a ledger; open gives an empty one.
func Run(t *testing.T, open func(t *testing.T) Ledger) {
	for name, test := range map[string]func(*bench){
		"the same again changes nothing":           sameAgain,
		"a later report supersedes":                supersedes,
		"another rule set adds a judgement":        anotherRuleSet,
		"what is judged is kept whole":             wholeJudgement,
		"what was counted need not be read":        counted,
		"what has changed is not committed":        changed,
		"later studies of the person become due":   due,
		"copies and contradictions are settled":    copies,
		"objects of no study are taken in once":    unread,
		"many commit at a time":                    many,
		"several commit at once":                   together,
		"a study without a report is known as one": withoutReport,
	} {
		t.Run(name, func(t *testing.T) {
			b := &bench{T: t, Ledger: open(t), ctx: t.Context()}
			test(b)
			p, err := b.Verify(b.ctx, "")
			if err != nil || len(p.Faults) > 0 {
				t.Errorf("the ledger does not hold: %+v, %v", p, err)
			}
		})
	}
}

type bench struct {
	*testing.T
	Ledger
	ctx context.Context
}

// Rules of the tests: one that passes and one that fails.
var rules = []finding.About{
	{Identifier: "a/present", Version: "1.0.0", Title: "Present", Kind: finding.Completeness, Severity: finding.Warning},
	{Identifier: "b/fits", Version: "1.0.0", Title: "Fits", Kind: finding.Consistency, Severity: finding.Error},
}

const (
	ruleset = "0123456789ab"
	counter = "counter 1"
)

// report is a report of a study: its part 1, which a part 2 completes.
func report(study, part int, patient, date, value string) store.Found {
	uid := fmt.Sprintf("2.25.%d", study)
	sop := fmt.Sprintf("%s.%d", uid, part)
	completion := []string{"", "PARTIAL", "COMPLETE"}[part]
	return store.Found{
		Object: store.Object{Path: "in.dcm", SHA256: digest(sop + value), SOPInstanceUID: sop, State: store.Read},
		Report: &echo.Study{
			StudyInstanceUID: uid, StudyDate: date, Identity: echo.Identity{PatientID: echo.Protected(patient), BirthDate: "19600101"},
			Documents: []echo.Document{{SOPInstanceUID: sop, SeriesInstanceUID: uid, CompletionFlag: completion, ContentTime: fmt.Sprintf("%s10%02d00", date, part)}},
			Measurements: []echo.Measurement{{
				Measurand: "heart-rate", ConceptName: coding.CodedConcept{CodeValue: "8867-4", CodingSchemeDesignator: "LN", CodeMeaning: "Heart rate"},
				ValueText: value, Role: echo.Result, Source: echo.Source{SOPInstanceUID: sop, Item: "1.1"},
			}},
		},
	}
}

func digest(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])
}

// load prepares a study as whoever records it does.
func (b *bench) load(uid, by string, found ...store.Found) *store.State {
	b.Helper()
	st, err := b.Load(b.ctx, uid, "reader 1", found)
	if err != nil {
		b.Fatal(err)
	}
	if st.Composing() {
		reports, _, err := st.Readings()
		if err != nil {
			b.Fatal(err)
		}
		var study *echo.Study
		if len(reports) > 0 {
			study = extract.Merge(reports)
			earlier, err := b.Earlier(b.ctx, st, study.StudyDate)
			if err != nil {
				b.Fatal(err)
			}
			for _, e := range earlier {
				study.Prior = &echo.Prior{StudyDate: e.StudyDate, PatientSex: e.Identity.BirthDate.Reveal()}
			}
		}
		if err := st.Compose(study); err != nil {
			b.Fatal(err)
		}
	}
	judging, err := st.Judging(by)
	if err != nil {
		b.Fatal(err)
	}
	if judging {
		study, err := st.Study()
		if err != nil {
			b.Fatal(err)
		}
		j := &judgement.Judgement{
			StudyInstanceUID: uid, Library: judgement.Library{Version: "1", Digest: by}, Protocols: finding.Protocols{Base: finding.Chosen{Identifier: "adult"}},
			Results: []finding.Result{{Rule: "b/fits", Outcome: finding.Fail, Severity: finding.Error, Message: "50 is not 60", Causes: []finding.Hypothesis{{Identifier: "swapped"}},
				Evidence: []finding.Evidence{{Alias: "hr", Measurement: &study.Measurements[0]}}}},
			NotApplicable: []judgement.Aside{{Rule: "a/present", Reason: "not asked"}},
		}
		j.Refer(study)
		if err := st.Judge(&store.Judged{Judgement: j, Rules: rules, Counted: []byte("counted " + uid), Counter: counter}); err != nil {
			b.Fatal(err)
		}
	}
	return st
}

func (b *bench) record(uid string, found ...store.Found) *store.Receipt {
	b.Helper()
	r, err := b.Commit(b.ctx, b.load(uid, ruleset, found...), nil)
	if err != nil {
		b.Fatal(err)
	}
	return r
}

func (b *bench) all(seq iter.Seq2[*store.Study, error]) []*store.Study {
	b.Helper()
	var out []*store.Study
	for s, err := range seq {
		if err != nil {
			b.Fatal(err)
		}
		out = append(out, s)
	}
	return out
}

func (b *bench) studies() []*store.Study {
	b.Helper()
	return b.all(b.Studies(b.ctx, store.Period{}, store.Filter{}, ruleset))
}

func sameAgain(b *bench) {
	one := report(1, 1, "P1", "20260105", "60")
	if r := b.record("2.25.1", one); !r.New || !r.Judged || !r.Read || !r.Objects[0].New {
		b.Errorf("first %+v", r)
	}
	if r := b.record("2.25.1", one); r.New || r.Changed || r.Judged || !r.Read || r.Objects[0].New {
		b.Errorf("again %+v", r)
	}
	if n := len(b.studies()); n != 1 {
		b.Errorf("%d studies", n)
	}
}

func supersedes(b *bench) {
	b.record("2.25.1", report(1, 2, "P1", "20260105", "70"))
	if r := b.record("2.25.1", report(1, 1, "P1", "20260105", "60")); !r.Changed || !r.Judged {
		b.Errorf("receipt %+v", r)
	}
	study, err := b.studies()[0].Rebuild()
	if err != nil || len(study.Measurements) != 2 {
		b.Fatalf("%v, %v", study, err)
	}
	for _, m := range study.Measurements {
		if m.Superseded != (m.ValueText == "60") {
			b.Errorf("%s superseded: %v", m.ValueText, m.Superseded)
		}
	}
}

func anotherRuleSet(b *bench) {
	one := report(1, 1, "P1", "20260105", "60")
	b.record("2.25.1", one)
	const other = "ba9876543210"
	r, err := b.Commit(b.ctx, b.load("2.25.1", other, one), nil)
	if err != nil || r.Changed || !r.Judged {
		b.Errorf("%+v, %v", r, err)
	}
	if latest, err := b.LatestRuleSet(b.ctx); err != nil || latest != other {
		b.Errorf("latest %s, %v", latest, err)
	}
	if s := b.studies()[0]; !s.Judged {
		b.Error("what the first found is gone")
	}
}

func wholeJudgement(b *bench) {
	b.record("2.25.1", report(1, 1, "P1", "20260105", "60"))
	j, study, err := b.Judgement(b.ctx, "2.25.1", ruleset)
	if err != nil || j == nil {
		b.Fatal(j, err)
	}
	res := j.Results[0]
	if res.Message != "50 is not 60" || res.Title != "Fits" || res.Evidence[0].Measurement != &study.Measurements[0] || j.NotApplicable[0].Title != "Present" || j.ContentDigest == "" {
		b.Errorf("%+v", j)
	}
	if j, _, err := b.Judgement(b.ctx, "2.25.1", "another"); err != nil || j != nil {
		b.Errorf("by a rule set that judged nothing: %+v, %v", j, err)
	}
	s := b.studies()[0]
	first, _ := s.Outcome(0)
	second, severity := s.Outcome(1)
	if first != finding.NotApplicable || second != finding.Fail || severity != finding.Error || s.Causes[1] != "swapped" || s.Protocols.Base.Identifier != "adult" {
		b.Errorf("%+v", s)
	}
}

func counted(b *bench) {
	b.record("2.25.1", report(1, 1, "P1", "20260105", "60"))
	for _, as := range []string{counter, "another"} {
		s := b.all(b.CountedStudies(b.ctx, store.Period{}, store.Filter{}, ruleset, as))[0]
		if known := string(s.Counted(as)) == "counted 2.25.1"; known != (as == counter) {
			b.Errorf("%s: counted %v", as, known)
		}
		if study, err := s.Rebuild(); err != nil || as != counter && study == nil {
			b.Errorf("%s: a study that was not counted cannot be rebuilt: %v", as, err)
		}
	}
}

func changed(b *bench) {
	one := report(1, 1, "P1", "20260105", "60")
	first, second := b.load("2.25.1", ruleset, one), b.load("2.25.1", ruleset, one)
	if _, err := b.Commit(b.ctx, first, nil); err != nil {
		b.Fatal(err)
	}
	if _, err := b.Commit(b.ctx, second, nil); !errors.Is(err, store.ErrChanged) {
		b.Errorf("committed twice: %v", err)
	}
}

func due(b *bench) {
	b.record("2.25.2", report(2, 1, "P1", "20260205", "60"))
	b.record("2.25.3", report(3, 1, "P2", "20260305", "60"))
	b.record("2.25.1", report(1, 1, "P1", "20260105", "70"))
	list, err := b.Due(b.ctx)
	if err != nil || len(list) != 1 || list[0] != "2.25.2" {
		b.Fatalf("due %v, %v", list, err)
	}
	if r := b.record("2.25.2"); !r.Changed || !r.Judged {
		b.Errorf("compared anew: %+v", r)
	}
	if list, err := b.Due(b.ctx); err != nil || len(list) != 0 {
		b.Errorf("due %v, %v", list, err)
	}
	study, err := b.studies()[1].Rebuild()
	if err != nil || study.Prior == nil || study.Prior.StudyDate != "20260105" || study.Prior.PatientSex != "19600101" {
		b.Errorf("%+v, %v", study.Prior, err)
	}
}

func copies(b *bench) {
	b.record("2.25.1", report(1, 1, "P1", "20260105", "60"))
	again := report(1, 1, "P1", "20260105", "60")
	again.SHA256 = digest("the same in another encoding")
	if r := b.record("2.25.1", again); r.Changed || r.Objects[0].State != store.Ignored || !r.Objects[0].New {
		b.Errorf("a copy: %+v", r)
	}
	if r := b.record("2.25.1", report(1, 1, "P1", "20260105", "61")); r.Changed || r.Objects[0].State != store.Refused {
		b.Errorf("another content: %+v", r)
	}
}

func unread(b *bench) {
	list := []store.Object{{Path: "a", SHA256: digest("a"), State: store.Refused, Reason: "damaged"}, {Path: "b", State: store.Refused}}
	for _, isNew := range []bool{true, false} {
		r, err := b.CommitUnread(b.ctx, list)
		if err != nil || len(r.Objects) != 2 || r.Objects[0].New != isNew || r.Objects[0].Reason != "damaged" || r.Objects[1].New {
			b.Errorf("%+v, %v", r, err)
		}
	}
}

func many(b *bench) {
	const n = 40
	states := make([]*store.State, n)
	for i := range states {
		states[i] = b.load(fmt.Sprintf("2.25.%d", i), ruleset, report(i, 1, fmt.Sprint("P", i), "20260105", fmt.Sprint(50+i)))
	}
	var wait sync.WaitGroup
	for i := range states {
		wait.Go(func() {
			if r, err := b.Commit(b.ctx, states[i], nil); err != nil || !r.New {
				b.Errorf("%d: %+v, %v", i, r, err)
			}
		})
	}
	wait.Wait()
	if got := len(b.studies()); got != n {
		b.Errorf("%d studies", got)
	}
}

// together commits several at once, of which one has changed meanwhile: it alone is
// not in the ledger.
func together(b *bench) {
	const n, stale = 5, 2
	states := make([]*store.State, n)
	for i := range states {
		states[i] = b.load(fmt.Sprintf("2.25.%d", i), ruleset, report(i, 1, fmt.Sprint("P", i), "20260105", fmt.Sprint(50+i)))
	}
	b.record(fmt.Sprintf("2.25.%d", stale), report(stale, 1, fmt.Sprint("P", stale), "20260105", "70"))
	receipts, errs := b.CommitTogether(b.ctx, states, nil)
	for i := range states {
		if i == stale {
			if !errors.Is(errs[i], store.ErrChanged) || receipts[i] != nil {
				b.Errorf("what has changed: %+v, %v", receipts[i], errs[i])
			}
		} else if errs[i] != nil || !receipts[i].New || receipts[i].StudyInstanceUID != states[i].StudyInstanceUID {
			b.Errorf("%d: %+v, %v", i, receipts[i], errs[i])
		}
	}
	if got := len(b.studies()); got != n {
		b.Errorf("%d studies", got)
	}
	if none, errs := b.CommitTogether(b.ctx, nil, nil); len(none)+len(errs) != 0 {
		b.Errorf("nothing at once: %v, %v", none, errs)
	}
}

func withoutReport(b *bench) {
	image := store.Found{
		Object: store.Object{Path: "i", SHA256: digest("i"), SOPInstanceUID: "2.25.9", Image: true, State: store.Read},
		Header: &echo.Image{SOPInstanceUID: "2.25.9", TransducerType: "SECTOR_PHASED"},
	}
	if r := b.record("2.25.1", image); !r.New || r.Read || r.Judged {
		b.Errorf("%+v", r)
	}
	s := b.studies()[0]
	if study, err := s.Rebuild(); err != nil || study != nil || s.HasReport() || s.Images != 1 || s.Date != "" {
		b.Errorf("%+v, %v", s, err)
	}
}
