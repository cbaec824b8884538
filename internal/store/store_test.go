package store

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"echotally/internal/store/keyfile"
	"echotally/internal/store/proof"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/rs/zerolog"

	"echotally/internal/dcmtest"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/intake"
	"echotally/internal/judge"
	"echotally/internal/judgement"
	"echotally/internal/library"
	"echotally/internal/packed"
	"echotally/internal/run"
	"echotally/internal/srtest"
	"echotally/internal/ucum"
	"echotally/rules"
)

var moment = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// shipped are the shipped rules, loaded once.
var shipped = sync.OnceValues(func() (*library.Library, error) { return library.Load(library.Settings{}, rules.FS) })

// bench is a ledger in a folder of its own with what a test does to it.
type bench struct {
	*testing.T
	dir   string
	store *Store
	set   *library.Library
}

func newBench(t *testing.T) *bench {
	t.Helper()
	set, err := shipped()
	if err != nil {
		t.Fatal(err)
	}
	b := &bench{T: t, dir: t.TempDir(), set: set}
	b.store = b.open()
	return b
}

func (b *bench) file() string { return filepath.Join(b.dir, "ledger.db") }

func (b *bench) open() *Store {
	b.Helper()
	key, err := keyfile.Make(filepath.Join(b.dir, "key"))
	if err != nil {
		b.Fatal(err)
	}
	s, err := Open(context.Background(), b.file(), Options{Key: key, Now: func() time.Time { return moment }})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { s.Close() })
	return s
}

func (b *bench) auditor() Auditor {
	return Auditor{
		Program: "test", RuleSet: judgement.Library{Version: b.set.Version, Digest: b.set.Digest, Rules: len(b.set.Rules)},
		Compose: func(reports []*echo.Study, images []*echo.Image) *echo.Study {
			return run.Compose(b.set, reports, images)
		},
		Judge: func(s *echo.Study) (*Judged, error) { return JudgedOf(judge.Study(b.set, s, judge.By{})), nil },
	}
}

// write puts files into a new folder.
func (b *bench) write(files map[string][]byte) string {
	b.Helper()
	dir, err := os.MkdirTemp(b.dir, "in-")
	if err != nil {
		b.Fatal(err)
	}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
			b.Fatal(err)
		}
	}
	return dir
}

// take reads the files and records them.
func (b *bench) take(files map[string][]byte) []*Receipt {
	b.Helper()
	return b.takeBy(b.auditor(), files)
}

func (b *bench) takeBy(by Auditor, files map[string][]byte) []*Receipt {
	b.Helper()
	read, err := readAll(b, files)
	if err != nil {
		b.Fatal(err)
	}
	var out []*Receipt
	for i := range read.Studies {
		r, err := b.store.Record(context.Background(), &read.Studies[i], by)
		if err != nil {
			b.Fatal(err)
		}
		out = append(out, r)
	}
	r, err := b.store.RecordUnread(context.Background(), read.Unread)
	if err != nil {
		b.Fatal(err)
	}
	return append(out, r)
}

// reads is what was read of files.
type reads struct {
	Studies []run.Study
	Unread  []run.Object
}

func readAll(b *bench, files map[string][]byte) (*reads, error) {
	b.Helper()
	ctx := context.Background()
	batch, err := intake.Find(ctx, []string{b.write(files)}, nil, zerolog.Nop())
	if err != nil {
		return nil, err
	}
	defer batch.Close()
	r := run.Reader{Library: b.set}
	var notes []run.Note
	for i := range batch.Objects {
		notes = append(notes, r.Note(ctx, &batch.Objects[i]))
	}
	list := r.List(ctx, notes)
	out := &reads{Unread: list.Unread}
	for i := range list.Studies {
		out.Studies = append(out.Studies, *r.Study(ctx, &list.Studies[i]))
	}
	return out, nil
}

// count counts rows.
func (b *bench) count(table string) int {
	b.Helper()
	var n int
	if err := b.store.view.QueryRow("SELECT count(*) FROM " + table).Scan(&n); err != nil {
		b.Fatal(err)
	}
	return n
}

// holds verifies the ledger.
func (b *bench) holds() *proof.Proof {
	b.Helper()
	p, err := b.store.Verify(context.Background(), "")
	if err != nil {
		b.Fatal(err)
	}
	if len(p.Faults) > 0 {
		b.Errorf("the ledger does not hold: %s", strings.Join(p.Faults, "; "))
	}
	return p
}

// studies gives all studies with the results of the bench's rules.
func (b *bench) studies() []*Study {
	b.Helper()
	var out []*Study
	for s, err := range b.store.Studies(context.Background(), Period{}, Filter{}, b.set.Digest) {
		if err != nil {
			b.Fatal(err)
		}
		out = append(out, s)
	}
	return out
}

// report is a report with one tricuspid velocity and, when given, more headers.
func (b *bench) report(velocity string, headers ...string) []byte {
	b.Helper()
	return encode(b, b.text(velocity, headers...))
}

func encode(b *bench, text string) []byte {
	b.Helper()
	return dcmtest.Encode(srtest.Report(b, text), dcmtest.Encoding{})
}

func (b *bench) text(velocity string, headers ...string) string {
	return strings.Join(headers, "\n") + `
container DCM:125200 "Adult Echocardiography Procedure Report"
  contains container DCM:121070 "Findings"
    mod code SCT:363698007 = SCT:46030003 "Tricuspid valve"
    contains num LN:11726-7 "Peak velocity" = ` + velocity + ` m/s
      mod code SCT:260674002 "Flow Direction" = SCT:312004007 "Regurgitant flow"
    contains num LN:20247-3 "Peak gradient" = 60 mm[Hg]
      mod code SCT:260674002 "Flow Direction" = SCT:312004007 "Regurgitant flow"
`
}

func TestTheSameAgainChangesNothing(t *testing.T) {
	b := newBench(t)
	files := map[string][]byte{"one.dcm": b.report("2.80"), "two.dcm": b.report("3.1", "header 00080018 = 2.25.2", "header 0020000D = 2.25.20"), "broken.dcm": []byte("not DICOM")}
	first := b.take(files)
	if len(first) != 3 || !first[0].New || !first[0].Judged || !first[0].Read {
		t.Errorf("first receipts %+v", first[0])
	}
	before := map[string]int{}
	for _, k := range keptTables {
		before[k.name] = b.count(k.name)
	}
	head := b.holds().Head
	for _, r := range b.take(files) {
		if r.New || r.Changed || r.Judged || slices.ContainsFunc(r.Objects, func(o ObjectReceipt) bool { return o.New }) {
			t.Errorf("the second time: %+v", r)
		}
	}
	for _, k := range keptTables {
		if n := b.count(k.name); n != before[k.name] {
			t.Errorf("%s: %d rows became %d", k.name, before[k.name], n)
		}
	}
	if now := b.holds().Head; now != head {
		t.Errorf("the chain went from %s to %s", head, now)
	}
}

func TestALaterReportSupersedes(t *testing.T) {
	preliminary := []string{"header 00080018 = 2.25.1", "header 0020000E = 2.25.5", "header 00080023 = 20260314", "header 00080033 = 100000", "header 0040A491 = PARTIAL"}
	final := []string{"header 00080018 = 2.25.2", "header 0020000E = 2.25.5", "header 00080023 = 20260314", "header 00080033 = 110000", "header 0040A491 = COMPLETE"}
	var kept [][]byte
	for _, order := range []string{"preliminary first", "final first"} {
		t.Run(order, func(t *testing.T) {
			b := newBench(t)
			early, late := map[string][]byte{"p.dcm": b.report("2.80", preliminary...)}, map[string][]byte{"f.dcm": b.report("3.10", final...)}
			if order == "final first" {
				early, late = late, early
			}
			b.take(early)
			if r := b.take(late)[0]; r.New || !r.Changed || !r.Judged {
				t.Errorf("receipt %+v", r)
			}
			all := b.studies()
			if len(all) != 1 || !all[0].Judged {
				t.Fatalf("studies %+v", all)
			}
			study, err := all[0].Rebuild()
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range study.Measurements {
				if m.Superseded != (m.Source.SOPInstanceUID == "2.25.1") {
					t.Errorf("%s %s superseded: %v", m.Source.SOPInstanceUID, m.ValueText, m.Superseded)
				}
			}
			if n := b.count("judgement"); n != 2 {
				t.Errorf("%d judgements, the earlier must stay", n)
			}
			if n := b.count("object"); n != 2 {
				t.Errorf("%d objects", n)
			}
			b.holds()
			kept = append(kept, packed.Pack(study, nil))
		})
	}
	if !bytes.Equal(kept[0], kept[1]) {
		t.Error("the study depends on the order in which its reports came")
	}
}

func TestAnotherRuleSetAddsResults(t *testing.T) {
	b := newBench(t)
	files := map[string][]byte{"one.dcm": b.report("2.80")}
	b.take(files)
	other := b.auditor()
	other.RuleSet.Digest = strings.Repeat("ab", 32)
	other.Judge = func(s *echo.Study) (*Judged, error) {
		j := judge.Study(b.set, s, judge.By{})
		j.Library.Digest = other.RuleSet.Digest
		return JudgedOf(j), nil
	}
	if r := b.takeBy(other, files)[0]; r.New || r.Changed || !r.Judged {
		t.Errorf("receipt %+v", r)
	}
	if n := b.count("judgement"); n != 2 {
		t.Errorf("%d judgements", n)
	}
	if latest, err := b.store.LatestRuleSet(context.Background()); err != nil || latest != other.RuleSet.Digest {
		t.Errorf("latest rule set %s, %v", latest, err)
	}
	b.holds()
}

func TestTwoFilesUnderOneUID(t *testing.T) {
	whole := func(b *bench) []byte { return b.report("2.80") }
	cut := func(b *bench) []byte { one := b.report("2.80"); return one[:len(one)-60] }
	implicit := func(b *bench) []byte {
		return dcmtest.Encode(srtest.Report(b, b.text("2.80")), dcmtest.Encoding{TransferSyntax: "1.2.840.10008.1.2", DefinedLengths: true})
	}
	other := func(b *bench) []byte { return b.report("2.90") }
	for _, c := range []struct {
		name          string
		first, second func(*bench) []byte
		state         Fate // of the second
		reason        string
		counts        int // measurements that count
	}{
		{"the same content in another encoding", whole, implicit, Ignored, "same object as", 2},
		{"a damaged copy", whole, cut, Ignored, "damaged copy of", 2},
		{"a whole one after the damaged", cut, whole, Read, "", 2},
		{"other content", whole, other, Refused, "other content", 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t)
			b.take(map[string][]byte{"a.dcm": c.first(b)})
			got := b.take(map[string][]byte{"b.dcm": c.second(b)})[0].Objects[0]
			if got.State != c.state || !strings.Contains(got.Reason, c.reason) {
				t.Errorf("%+v", got)
			}
			study, err := b.studies()[0].Rebuild()
			if err != nil || len(study.Measurements) != c.counts || len(study.Documents) != 1 || study.Documents[0].Partial {
				t.Errorf("%v, %v", study, err)
			}
			again := b.take(map[string][]byte{"b.dcm": c.second(b)})[0].Objects[0]
			if again.New || again.State != got.State || again.Reason != got.Reason {
				t.Errorf("the second time %+v", again)
			}
			b.holds()
		})
	}
}

func TestWhatIsRebuiltIsJudgedAlike(t *testing.T) {
	b := newBench(t)
	b.take(map[string][]byte{"one.dcm": b.report("2.80", "header 00101010 = 067Y", "header 00100040 = F", "header 00101020 = 1.6")})
	s := b.studies()[0]
	study, err := s.Rebuild()
	if err != nil {
		t.Fatal(err)
	}
	again := judge.Study(b.set, study, judge.By{}).All()
	whole, of, err := b.store.Judgement(context.Background(), s.UID, b.set.Digest)
	if err != nil || of == nil {
		t.Fatal(err)
	}
	kept := whole.All()
	if len(again) != len(s.Rules) || len(kept) != len(s.Rules) {
		t.Fatalf("%d results, %d kept, %d rules", len(again), len(kept), len(s.Rules))
	}
	failed := 0
	for i, rule := range s.Rules {
		want := again[i]
		outcome, severity := s.Outcome(i)
		if rule.Identifier != want.Rule || outcome != want.Outcome || outcome != finding.NotApplicable && severity != want.Severity {
			t.Errorf("%s %s, kept as %s %s", want.Rule, want.Outcome, rule.Identifier, outcome)
		}
		cause := ""
		if outcome == finding.Fail {
			failed++
			if len(want.Causes) > 0 {
				cause = want.Causes[0].Identifier
			}
		}
		if s.Causes[i] != cause {
			t.Errorf("%s: cause %q, kept as %q", want.Rule, cause, s.Causes[i])
		}
	}
	quantity := cmp.Comparer(func(a, b ucum.Quantity) bool {
		return a.Value.Exact() == b.Value.Exact() && a.Unit.Code() == b.Unit.Code()
	})
	if diff := cmp.Diff(again, kept, quantity, cmpopts.EquateEmpty()); diff != "" {
		t.Errorf("what was judged is not what is kept: %s", diff)
	}
	if failed == 0 {
		t.Error("no rule failed: nothing was shown")
	}
}
