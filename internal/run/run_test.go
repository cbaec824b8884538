package run

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"echotally/internal/library"

	"github.com/google/go-cmp/cmp"
	"github.com/rs/zerolog"

	"echotally/internal/dcm"
	"echotally/internal/finding"
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
func object(t *testing.T, sop, study, value string, how srtest.Encoding) []byte {
	t.Helper()
	d := srtest.Report(t, strings.ReplaceAll(report, "VALUE", value))
	d.Set(dcm.Strings(dcm.T(0x00080018), sop), dcm.Strings(dcm.T(0x0020000D), study))
	return srtest.Encode(d, how)
}

// image builds an ultrasound image object.
func image(sop, study, modality string) []byte {
	return srtest.Encode(dcm.New(
		dcm.Strings(dcm.T(0x00080016), "1.2.840.10008.5.1.4.1.1.6.1"), dcm.Strings(dcm.T(0x00080018), sop),
		dcm.Strings(dcm.T(0x00080060), modality), dcm.Strings(dcm.T(0x0020000D), study), dcm.Ints(dcm.T(0x00280010), 16),
	), srtest.Encoding{})
}

func options(t *testing.T) Options {
	t.Helper()
	set, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	return Options{Rules: set, SoftwareVersion: "test", Now: func() time.Time { return time.Unix(0, 0) }, Log: zerolog.Nop()}
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
func states(a *Audit, dir string) map[string][]string {
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
	for _, s := range a.Studies {
		add(s.StudyInstanceUID, s.Objects)
	}
	add("", a.Unread)
	return out
}

func TestEveryFileIsInTheRecordOnceWithItsState(t *testing.T) {
	whole := object(t, "2.25.1", "2.25.10", "2.8", srtest.Encoding{})
	dir := lab(t, map[string][]byte{
		"a.dcm":         whole,
		"a-copy.dcm":    whole,
		"a-implicit":    object(t, "2.25.1", "2.25.10", "2.8", srtest.Encoding{TransferSyntax: dcm.ImplicitVRLittleEndian}),
		"a-other.dcm":   object(t, "2.25.1", "2.25.10", "3.8", srtest.Encoding{}),
		"b.dcm":         object(t, "2.25.2", "2.25.20", "2.5", srtest.Encoding{}),
		"b-torn.dcm":    object(t, "2.25.3", "2.25.20", "2.5", srtest.Encoding{})[:200],
		"image.dcm":     image("2.25.500", "2.25.10", "US"),
		"lone.dcm":      image("2.25.501", "2.25.30", "US"),
		"ct.dcm":        image("2.25.502", "2.25.40", "CT"),
		"notes.txt":     []byte("words"),
		"claimed.dcm":   []byte("words"),
		"no-study.dcm":  object(t, "2.25.4", "", "2.5", srtest.Encoding{}),
		".hidden":       whole,
		"z-nothing.dcm": {},
	})
	a, err := Run(context.Background(), []string{dir}, options(t))
	if err != nil {
		t.Fatal(err)
	}
	got := states(a, dir)
	want := map[string][]string{
		"2.25.10": {
			"a-copy.dcm: read",
			"a-implicit: ignored: same object as a-copy.dcm",
			"a-other.dcm: refused: same SOP Instance UID as a-copy.dcm but other content: which is right cannot be told",
			"a.dcm: ignored: exact copy of a-copy.dcm",
			"image.dcm: read",
		},
		"2.25.20": {"b.dcm: read"},
		"2.25.30": {"lone.dcm: read"},
	}
	unread := got[""]
	delete(got, "")
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	var names []string
	for _, line := range unread {
		names = append(names, strings.Join(strings.SplitN(line, ": ", 3)[:2], ": "))
	}
	wantUnread := []string{".hidden: ignored", "b-torn.dcm: refused", "claimed.dcm: refused", "ct.dcm: ignored", "no-study.dcm: refused", "notes.txt: ignored", "z-nothing.dcm: ignored"}
	if diff := cmp.Diff(wantUnread, names); diff != "" {
		t.Errorf("%s\n%s", diff, strings.Join(unread, "\n"))
	}
	if !a.Incomplete() {
		t.Error("refused files leave the audit complete")
	}
	for _, s := range a.Studies {
		if (s.Study == nil) != (s.StudyInstanceUID == "2.25.30") {
			t.Errorf("study %s: read %v", s.StudyInstanceUID, s.Study != nil)
		}
		if s.Study == nil && len(s.Results) > 0 {
			t.Error("rules were put to a study without a report")
		}
	}
}

func TestStudyOfImagesAloneIsIncomplete(t *testing.T) {
	a, err := Run(context.Background(), []string{lab(t, map[string][]byte{"i.dcm": image("2.25.501", "2.25.30", "US")})}, options(t))
	if err != nil {
		t.Fatal(err)
	}
	if len(a.Studies) != 1 || a.Studies[0].Images() != 1 || !a.Incomplete() {
		t.Errorf("%d studies, incomplete %v; want one study that nothing was checked of", len(a.Studies), a.Incomplete())
	}
}

func TestRecordDoesNotDependOnWorkersOrOrder(t *testing.T) {
	files := map[string][]byte{}
	for i, v := range []string{"2.1", "2.2", "2.3", "2.4", "2.5", "2.6"} {
		uid := string(rune('1' + i))
		files["f"+uid+".dcm"] = object(t, "2.25."+uid, "2.25.9"+uid, v, srtest.Encoding{})
	}
	dir := lab(t, files)
	opt := options(t)
	opt.Workers = 1
	first, err := Run(context.Background(), []string{dir}, opt)
	if err != nil {
		t.Fatal(err)
	}
	opt.Workers = 5
	var paths []string
	for name := range files {
		paths = append(paths, filepath.Join(dir, name))
	}
	second, err := Run(context.Background(), paths, opt)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(states(first, dir), states(second, dir)); diff != "" {
		t.Error(diff)
	}
	for i := range first.Studies {
		var x, y []finding.Outcome
		for _, r := range first.Studies[i].Results {
			x = append(x, r.Outcome)
		}
		for _, r := range second.Studies[i].Results {
			y = append(y, r.Outcome)
		}
		if !cmp.Equal(x, y) || len(x) == 0 {
			t.Errorf("study %d: outcomes differ", i)
		}
	}
}

func TestProgressCountsEveryObjectOnce(t *testing.T) {
	opt := options(t)
	var seen []int
	opt.Progress = func(done, total int) {
		if total != 2 {
			t.Errorf("total %d, want 2", total)
		}
		seen = append(seen, done)
	}
	dir := lab(t, map[string][]byte{"a.dcm": object(t, "2.25.1", "2.25.10", "2.8", srtest.Encoding{}), "b.txt": []byte("x")})
	if _, err := Run(context.Background(), []string{dir}, opt); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]int{1, 2}, seen); diff != "" {
		t.Error(diff)
	}
}

func TestCancelledRunGivesNoRecord(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	opt := options(t)
	opt.Workers = 1
	opt.Progress = func(int, int) { cancel() }
	dir := lab(t, map[string][]byte{"a.dcm": object(t, "2.25.1", "2.25.10", "2.8", srtest.Encoding{}), "b.dcm": object(t, "2.25.2", "2.25.10", "2.8", srtest.Encoding{})})
	if a, err := Run(ctx, []string{dir}, opt); !errors.Is(err, context.Canceled) || a != nil {
		t.Errorf("record %v, error %v; want context.Canceled", a != nil, err)
	}
}

func TestDamagedCopyGivesWayToAWholeOne(t *testing.T) {
	read := []reading{
		{object: Object{Path: "a", SHA256: "1", SOPInstanceUID: "2.25.1", State: Partial}},
		{object: Object{Path: "b", SHA256: "2", SOPInstanceUID: "2.25.1", State: Read}},
	}
	settleCopies(read)
	if read[0].object.State != Ignored || read[0].object.Reason != "damaged copy of b" || read[1].object.State != Read {
		t.Errorf("got %+v", read)
	}
}

func TestLargeReportIsReadWholeAndLargeImageIsNot(t *testing.T) {
	long := strings.Repeat("word ", 2<<20) // 10 MiB of text
	d := srtest.Report(t, "container DCM:125200 \"Report\"\n  contains text DCM:121071 \"Finding\" = "+long+"\n  contains num LN:11726-7 \"Peak velocity\" = 2.8 m/s")
	pixels := srtest.Encode(dcm.New(
		dcm.Strings(dcm.T(0x00080016), "1.2.840.10008.5.1.4.1.1.3.1"), dcm.Strings(dcm.T(0x00080018), "2.25.500"),
		dcm.Strings(dcm.T(0x00080060), "US"), dcm.Strings(dcm.T(0x0020000D), "2.25.10"), dcm.Ints(dcm.T(0x00280010), 16),
		dcm.Private(dcm.T(0x7FE00010), "OB", make([]byte, 10<<20)),
	), srtest.Encoding{})
	var archive bytes.Buffer
	z := zip.NewWriter(&archive)
	for name, content := range map[string][]byte{"report.dcm": srtest.Encode(d, srtest.Encoding{})} {
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
	a, err := ReadStudies(context.Background(), []string{dir}, options(t))
	if err != nil {
		t.Fatal(err)
	}
	want := map[string][]string{"2.25.10": {"export.zip!report.dcm: read", "loop.dcm: read"}}
	if diff := cmp.Diff(want, states(a, dir)); diff != "" {
		t.Error(diff)
	}
	if t.Failed() {
		return
	}
	if n := len(a.Studies[0].Study.Measurements); n != 1 {
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
		a := &Audit{Studies: []Study{{Results: c.results}}}
		if got := a.Worst(); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}
