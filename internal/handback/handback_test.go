package handback_test

import (
	"bytes"
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"echotally/internal/dcm"
	"echotally/internal/demo/casebook"
	"echotally/internal/desk"
	"echotally/internal/finding"
	"echotally/internal/handback"
	"echotally/internal/handback/source"
	"echotally/internal/layout"
	"echotally/internal/library"
	"echotally/internal/phantom"
	"echotally/internal/run"
	"echotally/internal/sr/made"
	"echotally/rules"
)

// kept keeps the studies that a desk hands over.
type kept struct{ studies []*run.Study }

func (*kept) Begin(*run.Run) error                    { return nil }
func (*kept) Leaf(s *run.Study) (*run.Study, error)   { return s, nil }
func (k *kept) Add(s *run.Study) error                { k.studies = append(k.studies, s); return nil }
func (*kept) End() error                              { return nil }
func moment() time.Time                               { return time.Date(2026, 11, 30, 12, 0, 0, 0, time.UTC) }
func judged(t *testing.T, paths ...string) *run.Study { return judgedBy(t, lib(t), paths...) }

// shipped are the rules, loaded once.
var shipped = sync.OnceValues(func() (*library.Library, error) {
	return library.Load(library.Settings{NoExamples: true}, rules.FS)
})

func lib(t *testing.T) *library.Library {
	t.Helper()
	l, err := shipped()
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func judgedBy(t *testing.T, l *library.Library, paths ...string) *run.Study {
	t.Helper()
	k := &kept{}
	d := &desk.Desk{Library: l, SoftwareVersion: "test", Now: moment, Log: zerolog.Nop()}
	if _, err := desk.Check[*run.Study](context.Background(), d, paths, k); err != nil {
		t.Fatal(err)
	}
	if len(k.studies) != 1 {
		t.Fatalf("%d studies", len(k.studies))
	}
	return k.studies[0]
}

// faulty is the first study of the invented lab that has images and a fault, looked for once.
var faulty struct {
	sync.Once
	objects []phantom.Object
}

// withFault writes that study into a folder of the test.
func withFault(t *testing.T) (dir string) {
	t.Helper()
	faulty.Do(func() {
		for _, c := range casebook.Studies(casebook.Options{Seed: 5}) {
			if len(c.Objects) < 2 || len(c.Truth.Faults) == 0 {
				continue
			}
			tried := inFolder(t, c.Objects)
			if o, err := makerOf(t, tried, judged(t, tried)).Key(handback.QualityIssue); err == nil && o != nil {
				faulty.objects = c.Objects
				return
			}
		}
	})
	if faulty.objects == nil {
		t.Fatal("the invented lab has no study with images and a fault")
	}
	return inFolder(t, faulty.objects)
}

func inFolder(t *testing.T, objects []phantom.Object) (dir string) {
	t.Helper()
	dir = t.TempDir()
	for _, o := range objects {
		b, err := o.Bytes()
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, filepath.Base(o.Name)), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func makerOf(t *testing.T, dir string, s *run.Study) *handback.Maker {
	t.Helper()
	m := &handback.Maker{Source: &source.Source{}, Study: s.Study, Judgement: s.Judgement, Software: "test", Complete: true, Now: moment()}
	for _, o := range s.Objects {
		content, err := os.ReadFile(o.Path)
		if err != nil {
			t.Fatal(err)
		}
		f, err := dcm.ReadHeader(bytes.NewReader(content), int64(len(content)))
		if err != nil {
			t.Fatal(err)
		}
		if err := m.Source.Add(f); err != nil {
			t.Fatal(err)
		}
	}
	return m
}

// all makes one object of each kind.
func all(t *testing.T, m *handback.Maker) []*handback.Object {
	t.Helper()
	issue, err1 := m.Key(handback.QualityIssue)
	review, err2 := m.Key(handback.PeerReview)
	text, err3 := m.Text()
	pdf, err4 := m.PDF([]byte("%PDF-1.4\n%%EOF\n\n"), "what it says")
	if err := errors.Join(err1, err2, err3, err4); err != nil {
		t.Fatal(err)
	}
	if issue == nil || review == nil {
		t.Fatal("no key objects of a study with a fault")
	}
	return []*handback.Object{issue, review, text, pdf}
}

func written(t *testing.T, o *handback.Object) (string, dcm.Dataset) {
	t.Helper()
	var b bytes.Buffer
	if err := o.Write(&b); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), string(o.Kind)+".dcm")
	if err := os.WriteFile(name, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	f, err := dcm.ReadBytes(b.Bytes())
	if err != nil || len(f.Deviations) > 0 {
		t.Fatalf("%s: %v, %v", o.Kind, err, f.Deviations)
	}
	return name, f.Dataset
}

// TestObjectsBelongToTheStudy: patient and study are those of the report to the letter,
// series and instance are new, maker and flags are said, and nothing rejects anything.
func TestObjectsBelongToTheStudy(t *testing.T) {
	dir := withFault(t)
	s := judged(t, dir)
	m := makerOf(t, dir, s)
	report, err := os.ReadFile(filepath.Join(dir, "report.dcm"))
	if err != nil {
		t.Fatal(err)
	}
	of, err := dcm.ReadBytes(report)
	if err != nil {
		t.Fatal(err)
	}
	for _, o := range all(t, m) {
		_, d := written(t, o)
		for _, tag := range []uint32{0x00100010, 0x00100020, 0x00100030, 0x00100040, 0x00101010, 0x0020000D, 0x00200010, 0x00080020, 0x00080030, 0x00080050, 0x00080201} {
			if got, want := d.Text(dcm.T(tag)), of.Dataset.Text(dcm.T(tag)); got != want {
				t.Errorf("%s: %08X is %q, %q in the report", o.Kind, tag, got, want)
			}
		}
		for _, tag := range []uint32{0x0020000E, 0x00080018} {
			if got := d.Text(dcm.T(tag)); !strings.HasPrefix(got, "2.25.") || len(got) > 64 || got == of.Dataset.Text(dcm.T(tag)) {
				t.Errorf("%s: %08X is %q", o.Kind, tag, got)
			}
		}
		if d.Text(dcm.T(0x00080070)) != made.Maker || d.Text(dcm.T(0x00080080)) != of.Dataset.Text(dcm.T(0x00080080)) || d.Text(dcm.T(0x00181020)) != "test" {
			t.Errorf("%s: made by %q at %q", o.Kind, d.Text(dcm.T(0x00080070)), d.Text(dcm.T(0x00080080)))
		}
		if flag := d.Text(dcm.T(0x0040A493)); flag == "VERIFIED" || flag == "" && d.Text(dcm.T(0x00080060)) != "KO" {
			t.Errorf("%s: verification %q", o.Kind, flag)
		}
		var b bytes.Buffer
		if err := o.Write(&b); err != nil {
			t.Fatal(err)
		}
		for _, rejects := range []string{"113001", "113037", "113038", "113039"} {
			if bytes.Contains(b.Bytes(), []byte(rejects)) {
				t.Errorf("%s holds the code %s, which rejects", o.Kind, rejects)
			}
		}
	}
}

// TestObjectsAreTheSameNextTime: judged again to the same result they have the same UIDs,
// whenever that is; another result has others in the same series.
func TestObjectsAreTheSameNextTime(t *testing.T) {
	dir := withFault(t)
	m := makerOf(t, dir, judged(t, dir))
	first := all(t, m)
	m.Now = m.Now.AddDate(0, 1, 0)
	for i, o := range all(t, m) {
		if o.Instance != first[i].Instance || o.Dataset.Text(dcm.T(0x0020000E)) != first[i].Dataset.Text(dcm.T(0x0020000E)) {
			t.Errorf("%s: another instance a month later", o.Kind)
		}
	}
	m.Judgement.Results[0].Message += " And more."
	m.Judgement.Results[0].Outcome, m.Judgement.Results[0].Severity = "fail", "error"
	other := all(t, m)
	for i, same := range []bool{false, true, false, true} { // peer review and the sheet given do not say it
		if (other[i].Instance == first[i].Instance) != same || other[i].Dataset.Text(dcm.T(0x0020000E)) != first[i].Dataset.Text(dcm.T(0x0020000E)) {
			t.Errorf("%s of another result: same instance %v, want %v", other[i].Kind, !same, same)
		}
	}
	seen := map[string]bool{}
	for _, o := range first {
		if series := o.Dataset.Text(dcm.T(0x0020000E)); seen[series] {
			t.Errorf("%s shares its series", o.Kind)
		} else {
			seen[series] = true
		}
	}
}

// TestDCMTKReadsWhatIsHandedBack: dsrdump of DCMTK holds the trees to the constraints of
// their SOP classes (PS3.3 A.35), and shows findings, caution and what is pointed at;
// dcmdump reads every element.
func TestDCMTKReadsWhatIsHandedBack(t *testing.T) {
	if _, err := exec.LookPath("dsrdump"); err != nil {
		t.Skip("DCMTK is not installed: no other program read the objects")
	}
	dir := withFault(t)
	s := judged(t, dir)
	objects := all(t, makerOf(t, dir, s))
	for _, o := range objects {
		name, _ := written(t, o)
		if out, err := exec.Command("dcmdump", "+E", name).CombinedOutput(); err != nil || bytes.Contains(out, []byte("W: ")) {
			t.Errorf("dcmdump %s: %v\n%.400s", o.Kind, err, out)
		}
		if o.Kind == handback.Document {
			continue
		}
		out, err := exec.Command("dsrdump", "+Pl", "+Pu", "+Pc", name).CombinedOutput()
		// What this DCMTK says of every report in UTF-8, and of every template.
		text := strings.NewReplacer("W: The VR checker does not support this Specific Character Set: ISO_IR 192", "", "W: Check for template constraints not yet supported", "").Replace(string(out))
		if err != nil || strings.Contains(text, "W: ") || strings.Contains(text, "E: ") {
			t.Errorf("dsrdump %s: %v\n%s", o.Kind, err, text)
		}
		if !strings.Contains(text, layout.Caution) {
			t.Errorf("%s does not say the caution", o.Kind)
		}
		for _, doc := range s.Study.Documents {
			if o.Kind == handback.PeerReview && !strings.Contains(text, doc.SOPInstanceUID) {
				t.Errorf("%s does not point at report %s", o.Kind, doc.SOPInstanceUID)
			}
		}
	}
	for i, want := range []string{"(113010,DCM,\"Quality Issue\")", "(113008,DCM,\"For Peer Review\")", "Quality audit of an echo record"} {
		name, _ := written(t, objects[i])
		if out, _ := exec.Command("dsrdump", "+Pc", name).CombinedOutput(); !bytes.Contains(out, []byte(want)) {
			t.Errorf("%s: no %s in\n%.600s", objects[i].Kind, want, out)
		}
	}
}

// TestThePDFComesOutAsItWentIn by dcm2pdf of DCMTK.
func TestThePDFComesOutAsItWentIn(t *testing.T) {
	if _, err := exec.LookPath("dcm2pdf"); err != nil {
		t.Skip("DCMTK is not installed: no other program took the PDF out")
	}
	dir := withFault(t)
	m := makerOf(t, dir, judged(t, dir))
	sheet := append([]byte("%PDF-1.4\n"), bytes.Repeat([]byte{0, '\\', 0xFF, '\n'}, 50_000)...)
	sheet = append(sheet, "%%EOF\n\n"...)
	o, err := m.PDF(sheet, "x")
	if err != nil {
		t.Fatal(err)
	}
	name, _ := written(t, o)
	out := filepath.Join(t.TempDir(), "out.pdf")
	if text, err := exec.Command("dcm2pdf", name, out).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, text)
	}
	if got, err := os.ReadFile(out); err != nil || !bytes.Equal(got, sheet) {
		t.Errorf("%d bytes came out of %d (%v)", len(got), len(sheet), err)
	}
	if _, err := m.PDF(sheet[:len(sheet)-1], "x"); err == nil {
		t.Error("a PDF that would come out longer was taken")
	}
	if _, err := m.PDF([]byte("no PDF"), "x"); err == nil {
		t.Error("what is no PDF was taken for one")
	}
}

// TestPydicomKnowsTheTitles: the titles are of CID 7010 as pydicom has it, each with the
// standard's meaning, and pydicom reads and decodes every object.
func TestPydicomKnowsTheTitles(t *testing.T) {
	const python = "/usr/bin/python3"
	if err := exec.Command(python, "-c", "import pydicom.sr").Run(); err != nil {
		t.Skip("pydicom is not installed: no other program knows the titles")
	}
	dir := withFault(t)
	var names []string
	for _, o := range all(t, makerOf(t, dir, judged(t, dir))) {
		name, _ := written(t, o)
		names = append(names, name)
	}
	const program = `
import sys, pydicom
from pydicom.sr._cid_dict import cid_concepts
from pydicom.sr._concepts_dict import concepts
group = {code: meaning for name in cid_concepts[7010]['DCM'] for code, (meaning, _) in concepts['DCM'][name].items()}
for name in sys.argv[1:]:
    d = pydicom.dcmread(name)
    list(d.iterall())
    if d.Modality == 'KO':
        c = d.ConceptNameCodeSequence[0]
        print(d.SOPClassUID.name, c.CodeValue, group.get(c.CodeValue) == c.CodeMeaning, len(d.CurrentRequestedProcedureEvidenceSequence[0].ReferencedSeriesSequence) > 0)
    else:
        print(d.SOPClassUID.name)
`
	out, err := exec.Command(python, append([]string{"-c", program}, names...)...).CombinedOutput()
	want := "Key Object Selection Document Storage 113010 True True\nKey Object Selection Document Storage 113008 True True\nBasic Text SR Storage\nEncapsulated PDF Storage\n"
	if err != nil || string(out) != want {
		t.Errorf("%v\n%s", err, out)
	}
}

// TestKeyObjectsAreThoseOfTheFindings: every object that an error, a warning or what is to
// be looked at rests on is pointed at, and no image that none rests on.
func TestKeyObjectsAreThoseOfTheFindings(t *testing.T) {
	dir := withFault(t)
	s := judged(t, dir)
	s.Judgement.Results = append(s.Judgement.Results, finding.Result{About: &finding.About{}, Outcome: finding.Open, Missing: []finding.Missing{{Title: "body surface area"}}})
	o, err := makerOf(t, dir, s).Key(handback.QualityIssue)
	if err != nil {
		t.Fatal(err)
	}
	said := ""
	for _, item := range o.Dataset.Sequence(dcm.T(0x0040A730)) {
		said += item.Text(dcm.T(0x0040A160))
	}
	if !strings.Contains(said, "could not be made, for want of: ") || !strings.Contains(said, "body surface area") {
		t.Errorf("what could not be told is not said: %s", said)
	}
	pointed := map[string]bool{}
	for _, item := range o.Dataset.Sequence(dcm.T(0x0040A730)) {
		for _, ref := range item.Sequence(dcm.T(0x00081199)) {
			pointed[ref.Text(dcm.T(0x00081155))] = true
		}
	}
	rests := map[string]bool{}
	for _, d := range s.Study.Documents {
		rests[d.SOPInstanceUID] = true // where what is missing should stand
	}
	for _, r := range s.Judgement.Results {
		for _, e := range r.Evidence {
			if (r.Outcome == "fail" && r.Severity.Rank() >= 2 || r.Outcome == "review") && !r.PerLab {
				rests[e.Reference.SOPInstanceUID] = true
				if !pointed[e.Reference.SOPInstanceUID] && !e.Reference.Earlier {
					t.Errorf("%s rests on %s, which is not pointed at", r.Rule, e.Reference.SOPInstanceUID)
				}
				if e.Measurement != nil {
					for _, i := range e.Measurement.Images {
						rests[i.SOPInstanceUID] = true
					}
				}
			}
		}
	}
	for uid := range pointed {
		if !rests[uid] {
			t.Errorf("%s is pointed at, and no finding rests on it", uid)
		}
	}
}

// TestTwoPersonsAreRefused, in whatever order their objects come, and so is another study.
func TestTwoPersonsAreRefused(t *testing.T) {
	read := func(more ...dcm.Element) *dcm.File {
		d := dcm.New(dcm.Strings(dcm.T(0x00080016), handback.TextClass), dcm.Strings(dcm.T(0x00080018), "2.25.1"), dcm.Strings(dcm.T(0x0020000D), "2.25.2"),
			dcm.Strings(dcm.T(0x00100010), "Demo^A"), dcm.Strings(dcm.T(0x00100020), "DEMO-1"), dcm.Sequence(dcm.T(0x0040A730)))
		d.Set(more...)
		var b bytes.Buffer
		if err := dcm.Write(&b, d); err != nil {
			t.Fatal(err)
		}
		f, err := dcm.ReadHeader(bytes.NewReader(b.Bytes()), int64(b.Len()))
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	other := read(dcm.Strings(dcm.T(0x00100010), "Demo^B"), dcm.Strings(dcm.T(0x00100020), "DEMO-2"))
	if s := (&source.Source{}); s.Add(read()) != nil || !errors.Is(s.Add(other), source.ErrOfTwo) {
		t.Error("two persons were taken")
	}
	if s := (&source.Source{}); s.Add(read()) != nil || s.Add(read(dcm.Strings(dcm.T(0x0020000D), "2.25.3"))) == nil {
		t.Error("an object of another study was taken")
	}
	if err := (&source.Source{}).Add(read(dcm.Strings(dcm.T(0x0020000D)))); err == nil {
		t.Error("an object without a study was taken")
	}
}

// TestWhatIsHandedBackIsNoRecord: lying beside the study's objects it changes no finding
// and is not handed back again.
func TestWhatIsHandedBackIsNoRecord(t *testing.T) {
	dir := withFault(t)
	l := lib(t)
	before := judgedBy(t, l, dir)
	m := makerOf(t, dir, before)
	n := len(m.Source.Objects())
	for _, o := range all(t, m) {
		name, _ := written(t, o)
		if err := os.Rename(name, filepath.Join(dir, filepath.Base(name))); err != nil {
			t.Fatal(err)
		}
	}
	after := judgedBy(t, l, dir)
	if a, b := outcomes(before), outcomes(after); a != b {
		t.Errorf("the findings differ:\n%s\n%s", a, b)
	}
	ignored := 0
	for _, o := range after.Objects {
		if o.State == run.Ignored && regexp.MustCompile("written by this program|not a structured report").MatchString(o.Reason) {
			ignored++
		}
	}
	if ignored != 4 || len(makerOf(t, dir, after).Source.Objects()) != n {
		t.Errorf("%d of 4 objects ignored, %d objects taken for the study's %d", ignored, len(makerOf(t, dir, after).Source.Objects()), n)
	}
}

func outcomes(s *run.Study) string {
	var out strings.Builder
	for _, r := range s.Judgement.Results {
		out.WriteString(r.Rule + " " + string(r.Outcome) + "\n")
	}
	return out.String()
}
