package run

import (
	"archive/zip"
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/rs/zerolog"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/finding"
	"echotally/internal/intake"
	"echotally/internal/judgement"
	"echotally/internal/library"
	"echotally/internal/srtest"
	"echotally/rules"
)

const report = `
container DCM:125200 "Adult Echocardiography Procedure Report"
  contains container DCM:121070 "Findings"
    mod code SCT:363698007 = SCT:46030003 "Tricuspid valve"
    contains num LN:11726-7 "Peak velocity" = VALUE m/s
      mod code SCT:260674002 "Flow Direction" = SCT:312004007 "Regurgitant flow"
`

// object builds a report with the given UIDs and velocity.
func object(t *testing.T, sop, study, value string, how dcmtest.Encoding) []byte {
	t.Helper()
	d := srtest.Report(t, strings.ReplaceAll(report, "VALUE", value))
	d.Set(dcm.Strings(dcm.T(0x00080018), sop), dcm.Strings(dcm.T(0x0020000D), study))
	return dcmtest.Encode(d, how)
}

// image builds an ultrasound image object.
func image(sop, study, modality string) []byte {
	return dcmtest.Encode(dcm.New(
		dcm.Strings(dcm.T(0x00080016), "1.2.840.10008.5.1.4.1.1.6.1"), dcm.Strings(dcm.T(0x00080018), sop),
		dcm.Strings(dcm.T(0x00080060), modality), dcm.Strings(dcm.T(0x0020000D), study), dcm.Ints(dcm.T(0x00280010), 16),
	), dcmtest.Encoding{})
}

func reader(t *testing.T) Reader {
	t.Helper()
	lib, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	return Reader{Library: lib}
}

// all is what was read of a folder.
type all struct {
	studies []*Study
	unread  []Object
	list    *Worklist
	tally   Tally
}

// read reads everything below the paths, one object after another.
func read(t *testing.T, r Reader, paths ...string) *all {
	t.Helper()
	ctx := context.Background()
	batch, err := intake.Find(ctx, paths, nil, zerolog.Nop())
	if err != nil {
		t.Fatal(err)
	}
	defer batch.Close()
	var notes []Note
	for i := range batch.Objects {
		notes = append(notes, r.Note(ctx, &batch.Objects[i]))
	}
	out := &all{list: r.List(ctx, notes)}
	out.unread = out.list.Unread
	out.tally.Count(out.unread)
	for i := range out.list.Studies {
		out.studies = append(out.studies, r.Study(ctx, &out.list.Studies[i]))
		out.tally.Add(out.studies[i])
	}
	return out
}

// lab writes the files and gives their folder.
func lab(t *testing.T, files map[string][]byte) string {
	t.Helper()
	dir := t.TempDir()
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// states gives "name: state: reason" of every object, by study.
func states(a *all, dir string) map[string][]string {
	out := map[string][]string{}
	add := func(key string, objects []Object) {
		for _, o := range objects {
			line := filepath.Base(o.Path) + ": " + string(o.State)
			if o.Reason != "" {
				line += ": " + strings.ReplaceAll(o.Reason, filepath.ToSlash(dir)+"/", "")
			}
			out[key] = append(out[key], line)
		}
	}
	for _, s := range a.studies {
		add(s.StudyInstanceUID, s.Objects)
	}
	add("", a.unread)
	return out
}

func TestEveryFileIsInTheRecordOnceWithItsState(t *testing.T) {
	whole := object(t, "2.25.1", "2.25.10", "2.8", dcmtest.Encoding{})
	dir := lab(t, map[string][]byte{
		"a.dcm":         whole,
		"a-copy.dcm":    whole,
		"a-implicit":    object(t, "2.25.1", "2.25.10", "2.8", dcmtest.Encoding{TransferSyntax: dcm.ImplicitVRLittleEndian}),
		"a-other.dcm":   object(t, "2.25.1", "2.25.10", "3.8", dcmtest.Encoding{}),
		"b.dcm":         object(t, "2.25.2", "2.25.20", "2.5", dcmtest.Encoding{}),
		"b-torn.dcm":    object(t, "2.25.3", "2.25.20", "2.5", dcmtest.Encoding{})[:200],
		"image.dcm":     image("2.25.500", "2.25.10", "US"),
		"lone.dcm":      image("2.25.501", "2.25.30", "US"),
		"ct.dcm":        image("2.25.502", "2.25.40", "CT"),
		"notes.txt":     []byte("words"),
		"claimed.dcm":   []byte("words"),
		"no-study.dcm":  object(t, "2.25.4", "", "2.5", dcmtest.Encoding{}),
		".hidden":       whole,
		"z-nothing.dcm": {},
	})
	a := read(t, reader(t), dir)
	got := states(a, dir)
	want := map[string][]string{
		"2.25.10": {
			"a-copy.dcm: read",
			"a-implicit: ignored: same object as a-copy.dcm",
			"a-other.dcm: refused: same SOP Instance UID as a-copy.dcm but other content: which is right is not known",
			"a.dcm: ignored: exact copy of a-copy.dcm",
			"image.dcm: read",
		},
		"2.25.20": {"b.dcm: read"},
		"2.25.30": {"lone.dcm: read"},
	}
	const noStudy = "no-study.dcm: partial: lost: no Study Instance UID: to which study the report belongs is not known at (0020,000D)"
	if len(got[""]) == 0 || got[""][0] != noStudy {
		t.Fatalf("objects of no known study: %q, want first %q", got[""], noStudy)
	}
	unread := got[""][1:]
	delete(got, "")
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	var names []string
	for _, line := range unread {
		names = append(names, strings.Join(strings.SplitN(line, ": ", 3)[:2], ": "))
	}
	wantUnread := []string{".hidden: ignored", "b-torn.dcm: refused", "claimed.dcm: refused", "ct.dcm: ignored", "notes.txt: ignored", "z-nothing.dcm: refused"}
	if diff := cmp.Diff(wantUnread, names); diff != "" {
		t.Errorf("%s\n%s", diff, strings.Join(unread, "\n"))
	}
	if !a.tally.Incomplete() {
		t.Error("refused files leave the run complete")
	}
	for _, s := range a.studies {
		if (s.Study == nil) != (s.StudyInstanceUID == "2.25.30") {
			t.Errorf("study %s: read %v", s.StudyInstanceUID, s.Study != nil)
		}
	}
}

func TestStudyOfImagesAloneIsIncomplete(t *testing.T) {
	a := read(t, reader(t), lab(t, map[string][]byte{"i.dcm": image("2.25.501", "2.25.30", "US")}))
	if len(a.studies) != 1 || a.studies[0].Images() != 1 || !a.tally.Incomplete() {
		t.Errorf("%d studies, incomplete %v; want one study that nothing was checked of", len(a.studies), a.tally.Incomplete())
	}
}

// A file that is another one when its study is read is not taken for the one that
// was noted.
func TestFileThatChangedIsRefused(t *testing.T) {
	ctx, r := context.Background(), reader(t)
	dir := lab(t, map[string][]byte{"a.dcm": object(t, "2.25.1", "2.25.10", "2.8", dcmtest.Encoding{})})
	batch, err := intake.Find(ctx, []string{dir}, nil, zerolog.Nop())
	if err != nil {
		t.Fatal(err)
	}
	list := r.List(ctx, []Note{r.Note(ctx, &batch.Objects[0])})
	if err := os.WriteFile(filepath.Join(dir, "a.dcm"), object(t, "2.25.1", "2.25.10", "2.9", dcmtest.Encoding{}), 0o644); err != nil {
		t.Fatal(err)
	}
	s := r.Study(ctx, &list.Studies[0])
	if s.Study != nil || len(s.Objects) != 1 || s.Objects[0].State != Refused || !strings.Contains(s.Objects[0].Reason, "changed") {
		t.Errorf("study %v, objects %+v", s.Study, s.Objects)
	}
}

// The first pass tells of a study what reading it tells: date and person, also
// when its reports differ, so that order and earlier studies are right before
// anything is read whole.
func TestFirstPassAgreesWithReading(t *testing.T) {
	report := func(sop, study string, header ...string) []byte {
		d := srtest.Report(t, strings.Join(header, "\n")+"\ncontainer DCM:125200\n")
		d.Set(dcm.Strings(dcm.T(0x00080018), sop), dcm.Strings(dcm.T(0x0020000D), study))
		return dcmtest.Encode(d, dcmtest.Encoding{})
	}
	dir := lab(t, map[string][]byte{
		"a": report("2.25.1", "2.25.10", "header 00080020 = 20260302", "header 00080023 = 20260302", "header 00080033 = 12", "header 00100020 = LATER"),
		"b": report("2.25.2", "2.25.10", "header 00080020 = 20260301", "header 00080023 = 20260301", "header 00080033 = 12", "header 00100020 = 7", "header 00100021 = HERE"),
		"c": report("2.25.3", "2.25.10", "header 00080023 = 20260228", "header 00080033 = 12", "header 00100030 = 19600101"),
		"d": report("2.25.4", "2.25.11", "header 00080020 = 20250301", "header 00100020 = 7", "header 00100021 = HERE"),
	})
	a := read(t, reader(t), dir)
	for i, s := range a.studies {
		l := a.list.Studies[i]
		if s.Study.StudyDate != l.StudyDate || s.Study.Identity.PatientID != l.who.PatientID || s.Study.Identity.IssuerOfPatientID != l.who.IssuerOfPatientID ||
			s.Study.Identity.BirthDate != l.who.BirthDate {
			t.Errorf("study %s: read %s %v, noted %s", s.StudyInstanceUID, s.Study.StudyDate, s.Study.Identity, l.StudyDate)
		}
	}
	var earlier []string
	for l := range a.list.Earlier(a.studies[1].Study) {
		earlier = append(earlier, l.StudyInstanceUID)
	}
	if a.studies[1].StudyInstanceUID != "2.25.10" || !cmp.Equal(earlier, []string{"2.25.11"}) {
		t.Errorf("before %s: %v", a.studies[1].StudyInstanceUID, earlier)
	}
}

func TestDamagedCopyGivesWayToAWholeOne(t *testing.T) {
	first, later := reading{object: Object{Path: "a", State: Partial}}, reading{object: Object{Path: "b", State: Read}}
	if !settle(&first, &later) || first.object.State != Ignored || first.object.Reason != "damaged copy of b" || later.object.State != Read {
		t.Errorf("got %+v, %+v", first.object, later.object)
	}
	if settle(&later, &first) {
		t.Error("a copy took the place of the whole one")
	}
}

func TestLargeReportIsReadWholeAndLargeImageIsNot(t *testing.T) {
	long := strings.Repeat("word ", 2<<20) // 10 MiB of text
	d := srtest.Report(t, "container DCM:125200 \"Report\"\n  contains text DCM:121071 \"Finding\" = "+long+"\n  contains num LN:11726-7 \"Peak velocity\" = 2.8 m/s")
	pixels := dcmtest.Encode(dcm.New(
		dcm.Strings(dcm.T(0x00080016), "1.2.840.10008.5.1.4.1.1.3.1"), dcm.Strings(dcm.T(0x00080018), "2.25.500"),
		dcm.Strings(dcm.T(0x00080060), "US"), dcm.Strings(dcm.T(0x0020000D), "2.25.10"), dcm.Ints(dcm.T(0x00280010), 16),
		dcm.Private(dcm.T(0x7FE00010), "OB", make([]byte, 10<<20)),
	), dcmtest.Encoding{})
	var archive bytes.Buffer
	z := zip.NewWriter(&archive)
	for name, content := range map[string][]byte{"report.dcm": dcmtest.Encode(d, dcmtest.Encoding{})} {
		w, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Store})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(content); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	dir := lab(t, map[string][]byte{"export.zip": archive.Bytes(), "loop.dcm": pixels})
	a := read(t, reader(t), dir)
	want := map[string][]string{"2.25.10": {"export.zip!report.dcm: read", "loop.dcm: read"}}
	if diff := cmp.Diff(want, states(a, dir)); diff != "" {
		t.Error(diff)
	}
	if t.Failed() {
		return
	}
	if n := len(a.studies[0].Study.Measurements); n != 1 {
		t.Errorf("%d measurements, want the one behind 10 MiB of text", n)
	}
}

func TestWorstIsWhatSomebodyMustActOn(t *testing.T) {
	result := func(o finding.Outcome, s finding.Severity) finding.Result {
		return finding.Result{Outcome: o, Severity: s}
	}
	for _, c := range []struct {
		name    string
		results []finding.Result
		want    finding.Severity
	}{
		{"nothing", nil, ""},
		{"cannot tell is no finding", []finding.Result{result(finding.Open, finding.Error)}, ""},
		{"absent with reason is no finding", []finding.Result{result(finding.Excused, finding.Error)}, ""},
		{"to be looked at", []finding.Result{result(finding.Review, finding.Warning)}, finding.Warning},
		{"the gravest", []finding.Result{result(finding.Fail, finding.Information), result(finding.Fail, finding.Error), result(finding.Fail, finding.Warning)}, finding.Error},
	} {
		var tally Tally
		tally.Add(&Study{Judgement: &judgement.Judgement{Results: c.results}})
		if got := tally.Worst; got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}
