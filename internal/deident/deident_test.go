package deident_test

import (
	"bytes"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"echotally/internal/dcm"
	"echotally/internal/deident"
	"echotally/internal/demo"
	"echotally/internal/demo/casebook"
	"echotally/internal/echo"
	"echotally/internal/extract"
	"echotally/internal/library"
	"echotally/internal/sr"
	"echotally/internal/srtest"
	"echotally/rules"
)

func catalogues(t *testing.T) extract.Catalogues {
	t.Helper()
	lib, err := library.LoadForReading(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	return extract.Catalogues{Measurands: lib.Measurands, Statements: lib.Statements}
}

func plainMark(text string) string { return "key 1 " + text }

const report = `header 00100010 = Zwirnfeld^Ottilie
header 00100020 = PAT-88231
header 00100030 = 19310214
header 00080020 = 20261003
header 00080050 = ACC-7741
header 00080090 = Quastenmoor^Jo
header 00080080 = Harbourlight Clinic
header 00081010 = ROOM-3
container DCM:125200 "Adult Echocardiography Procedure Report"
  obs pname DCM:121008 "Person Observer Name" = Brackenwell^Una
  contains date DCM:111060 "Study Date" = 20261003
  contains container DCM:121070 "Findings"
    mod code SCT:363698007 "Finding Site" = SCT:46030003 "Tricuspid valve"
    contains num LN:20352-5 "Peak velocity" = 2.8 m/s
    contains num 99PETREL:TVX "Zwirnfeld special velocity" = 1.1 m/s
    contains text DCM:121071 "Finding" = Mild tricuspid regurgitation. Discussed with Dr Brackenwell on 03.10.2026; Mrs Zwirnfeld informed.
`

// TestACopyNamesNobody searches the bytes of a copy for everything by which somebody
// could be known, and holds what stays against the report.
func TestACopyNamesNobody(t *testing.T) {
	c := deident.NewCopier(catalogues(t), plainMark)
	f := &dcm.File{State: dcm.Read, Dataset: srtest.Report(t, report)}
	was := f.Dataset.Text(dcm.T(0x00080018))
	made, err := c.Copy(f)
	if err != nil {
		t.Fatal(err)
	}
	for _, secret := range []string{"Zwirnfeld", "Ottilie", "88231", "19310214", "20261003", "03.10", "7741", "Quastenmoor", "Harbourlight", "ROOM-3", "Brackenwell", "Una"} {
		if bytes.Contains(bytes.ToLower(made.Bytes), []byte(strings.ToLower(secret))) {
			t.Errorf("the copy holds %q", secret)
		}
	}
	file, err := dcm.ReadBytes(made.Bytes)
	if err != nil {
		t.Fatal(err)
	}
	d := file.Dataset
	if is := d.Text(dcm.T(0x00080018)); is == was || is == "" {
		t.Errorf("the copy has the UID of the report, %q", is)
	}
	if d.Text(dcm.T(0x00120062)) != "YES" || d.Text(dcm.T(0x00280303)) != "MODIFIED" || d.Text(dcm.T(0x00101010)) != "090Y" || d.Text(dcm.T(0x00100020)) != made.Code {
		t.Errorf("%s %s %s %s", d.Text(dcm.T(0x00120062)), d.Text(dcm.T(0x00280303)), d.Text(dcm.T(0x00101010)), d.Text(dcm.T(0x00100020)))
	}
	var methods []string
	for _, item := range d.Sequence(dcm.T(0x00120064)) {
		methods = append(methods, item.Text(dcm.T(0x00080100)))
	}
	if !slices.Equal(methods, []string{"113100", "113104", "113105", "113107", "113108"}) {
		t.Errorf("methods %v", methods)
	}
	document, err := sr.Parse(file)
	if err != nil {
		t.Fatal(err)
	}
	read := extract.Report(document, catalogues(t))
	if len(read.Measurements) != 2 || read.Measurements[0].ValueText != "2.8" || made.Lost != 0 || !slices.ContainsFunc(read.Statements, says("tricuspid-regurgitation-mild")) {
		t.Errorf("%d measurements, %d statements lost, %+v", len(read.Measurements), made.Lost, read.Statements)
	}
}

// TestCopiesBelongTogether: one patient has one code and one shift, intervals stay,
// references between reports stay, and another key makes other ones.
func TestCopiesBelongTogether(t *testing.T) {
	later := strings.ReplaceAll(report, "20261003", "20261103")
	other := strings.ReplaceAll(report, "PAT-88231", "PAT-1")
	dates := func(mark func(string) string, texts ...string) (codes, days []string) {
		c := deident.NewCopier(catalogues(t), mark)
		for _, text := range texts {
			made, err := c.Copy(&dcm.File{State: dcm.Read, Dataset: srtest.Report(t, text)})
			if err != nil {
				t.Fatal(err)
			}
			f, err := dcm.ReadBytes(made.Bytes)
			if err != nil {
				t.Fatal(err)
			}
			codes, days = append(codes, made.Code), append(days, f.Dataset.Text(dcm.T(0x00080020)))
		}
		return codes, days
	}
	codes, days := dates(plainMark, report, later, other)
	if codes[0] != codes[1] || codes[0] == codes[2] || days[0] == days[2] {
		t.Errorf("%v %v", codes, days)
	}
	if apart(t, days[0], days[1]) != apart(t, "20261003", "20261103") {
		t.Errorf("intervals are not kept: %v", days)
	}
	again, _ := dates(func(s string) string { return "key 2 " + s }, report)
	if again[0] == codes[0] {
		t.Error("another key gives the same code")
	}
}

// TestWhatCannotBeCopiedIsNot: a report that was not read whole, and one whose code
// meanings name the patient, are refused.
func TestWhatCannotBeCopiedIsNot(t *testing.T) {
	c := deident.NewCopier(catalogues(t), plainMark)
	if _, err := c.Copy(&dcm.File{State: dcm.Partial, Dataset: srtest.Report(t, report)}); err == nil {
		t.Error("a partial report was copied")
	}
	named := strings.ReplaceAll(report, `"Tricuspid valve"`, `"Valve of Zwirnfeld"`)
	if _, err := c.Copy(&dcm.File{State: dcm.Read, Dataset: srtest.Report(t, named)}); err == nil || strings.Contains(err.Error(), "Zwirnfeld") {
		t.Errorf("a name in the meaning of a code: %v", err)
	}
}

// lab is the demo lab, written once for all tests, which only read it.
var lab struct {
	sync.Once
	dir string
	err error
}

func demoLab(t *testing.T) string {
	t.Helper()
	lab.Do(func() {
		if lab.dir, lab.err = os.MkdirTemp("", "demo-lab"); lab.err == nil {
			_, lab.err = demo.Write(lab.dir, casebook.Options{Seed: 1})
		}
	})
	if lab.err != nil {
		t.Fatal(lab.err)
	}
	return lab.dir
}

func TestMain(m *testing.M) {
	code := m.Run()
	if lab.dir != "" {
		_ = os.RemoveAll(lab.dir)
	}
	os.Exit(code)
}

// TestTheDemoLabIsCopied copies every report of the demo lab that is read whole: the
// measurements are the same (Copy holds them), next to no statement is lost, no name of
// the lab is left, and DCMTK reads each copy without a word.
func TestTheDemoLabIsCopied(t *testing.T) {
	lab := demoLab(t)
	c := deident.NewCopier(catalogues(t), plainMark)
	reports, lost := 0, 0
	out := t.TempDir()
	err := filepath.WalkDir(lab, func(path string, e fs.DirEntry, err error) error {
		if err != nil || filepath.Ext(path) != ".dcm" {
			return err
		}
		content, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		f, err := dcm.ReadBytes(content)
		if err != nil || f.State != dcm.Read || len(f.Losses) > 0 || !sr.IsStructuredReport(f.Identity().SOPClassUID) {
			return nil
		}
		made, err := c.Copy(f)
		if err != nil {
			t.Errorf("%s: %v", filepath.Base(filepath.Dir(path)), err)
			return nil
		}
		reports++
		if lost += made.Lost; made.Lost > 0 {
			t.Logf("%s: %d statements lost", filepath.Base(filepath.Dir(path)), made.Lost)
		}
		if lower := bytes.ToLower(made.Bytes); bytes.Contains(lower, []byte("demo-")) || bytes.Contains(lower, []byte("marrow")) || bytes.Contains(lower, []byte("harbourlight")) {
			t.Errorf("%s: a name of the lab is left", path)
		}
		if reports%40 == 0 {
			return os.WriteFile(filepath.Join(out, made.Code+".dcm"), made.Bytes, 0o644)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if reports < 150 || lost > 5 {
		t.Errorf("%d reports copied, %d statements lost", reports, lost)
	}
	if _, err := exec.LookPath("dsrdump"); err != nil {
		t.Skip("DCMTK is not installed: the copies were not read by another program")
	}
	files, _ := filepath.Glob(filepath.Join(out, "*.dcm"))
	for _, name := range files {
		text, err := exec.Command("dsrdump", name).CombinedOutput()
		if err != nil || strings.Contains(string(text), "E: ") {
			t.Errorf("dsrdump: %v\n%s", err, text)
		}
	}
}

func says(identifier string) func(echo.Statement) bool {
	return func(s echo.Statement) bool { return s.Identifier == identifier }
}

func apart(t *testing.T, from, to string) time.Duration {
	t.Helper()
	a, err1 := time.Parse("20060102", from)
	b, err2 := time.Parse("20060102", to)
	if err1 != nil || err2 != nil {
		t.Fatal(from, to)
	}
	return b.Sub(a)
}
