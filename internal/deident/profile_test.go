package deident_test

import (
	"bytes"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"echotally/internal/dcm"
	"echotally/internal/deident"
	"echotally/internal/extract"
	"echotally/internal/judge"
	"echotally/internal/library"
	"echotally/internal/sr"
	"echotally/internal/srtest"
	"echotally/rules"
)

// attributes are those of PS3.15 table E.1-1 that take text, dates or UIDs and may
// stand in the header of a report or of the study it belongs to, private ones among
// them. None of their values may be in a copy.
var attributes = strings.Fields(`
00080080 00080081 00080092 00080094 0008009C 00080201 00081010 00081040 00081048 00081050 00081060 00081070 00081080 00082111 00084000
00100021 00100032 00101000 00101001 00101005 00101040 00101050 00101060 00101080 00101081 00101090 00102000 00102110 00102150 00102152 00102154 00102160 00102180
001021A0 001021B0 001021C0 001021F0 00102203 00102297 00102299 00104000
00120010 00120020 00120021 00120030 00120031 00120040 00120042 00120050 00120060 00120071 00120072
00181000 00181002 00181003 00181004 00181030 00181200 00181400 00184000 00189424
00200010 00203401 00203404 00204000 00209158
00321020 00321032 00321033 00321060 00321064 00321070 00324000
00380010 00380011 00380060 00380061 0038001E 00380040 00380050 00380062 00380300 00380400 00380500 00384000
00400001 00400006 00400007 00400009 00400010 00400011 00400012 00400241 00400242 00400243 00400253 00400254 00400280 00401001 00401002 00401004 00401005 00401010 00401400
00402001 00402016 00402017 00402400 00403001 0040A027 0040A07A 0040A192 0040A193 0040A307 0040A352 0040A354 0040A358
00700084 00880200 04000500 21000070 40080042 40080102 4008010A 4008010B 40080114 40080118 40080119 4008011A 400800FF 40080300 40084000
00091001 00111010 60050022 77E11001`)

// TestMarkersAreNowhere puts a marker of its own into every attribute of the profile,
// and into every kind of content item, and searches the bytes of the copy.
func TestMarkersAreNowhere(t *testing.T) {
	var text strings.Builder
	for i, tag := range attributes {
		fmt.Fprintf(&text, "header %s = MARKER%04dEND\n", tag, i)
	}
	text.WriteString(report)
	text.WriteString(`    contains pname DCM:121008 "Person Observer Name" = Markerfamily^Markergiven
    contains text DCM:121106 "Comment" = Markerfamily was here on 2026-10-03, phone 555-0199-77, record MARKERRECORD77
    contains num LN:20352-5 "Peak velocity" = 1.9 m/s
`)
	made, err := deident.NewCopier(catalogues(t), plainMark).Copy(&dcm.File{State: dcm.Read, Dataset: srtest.Report(t, text.String())})
	if err != nil {
		t.Fatal(err)
	}
	if i := bytes.Index(bytes.ToUpper(made.Bytes), []byte("MARKER")); i >= 0 {
		t.Errorf("the copy holds %q", made.Bytes[i:min(i+24, len(made.Bytes))])
	}
	for _, secret := range []string{"555-0199", "2026-10-03", "RECORD77"} {
		if bytes.Contains(made.Bytes, []byte(secret)) {
			t.Errorf("the copy holds %q", secret)
		}
	}
	if made.Removed < len(attributes)-10 {
		t.Errorf("%d attributes taken out of %d", made.Removed, len(attributes))
	}
}

// withoutNames are the rules that ask for a name: of the reader, and of the table that a
// z-score is from, which is called by its author.
var withoutNames = []string{"document/reader-named", "patient/z-score-from-its-table"}

// TestCopiesAreJudgedAlike judges reports of the demo lab and their copies: every rule
// comes to the same outcome, and DCMTK reads every copy without an error. Left out are
// the rules that ask for a name.
func TestCopiesAreJudgedAlike(t *testing.T) {
	lab, out := demoLab(t), t.TempDir()
	lib, err := library.Load(library.Settings{NoExamples: true}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	j := judge.New(lib)
	c := deident.NewCopier(extract.Catalogues{Measurands: lib.Measurands, Statements: lib.Statements}, plainMark)
	outcomes := func(f *dcm.File) map[string]string {
		document, err := sr.Parse(f)
		if err != nil {
			t.Fatal(err)
		}
		found := map[string]string{}
		for _, r := range j.Study(extract.Report(document, extract.Catalogues{Measurands: lib.Measurands, Statements: lib.Statements}), judge.By{}).Results {
			found[r.Rule] = fmt.Sprint(r.Outcome, " ", r.Severity)
		}
		return found
	}
	n, compared := 0, 0
	differ := map[string]int{}
	err = filepath.WalkDir(lab, func(path string, e fs.DirEntry, err error) error {
		if err != nil || filepath.Ext(path) != ".dcm" {
			return err
		}
		if n++; n%23 != 0 {
			return nil
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
			return nil // refused, which TestTheDemoLabIsCopied counts
		}
		again, err := dcm.ReadBytes(made.Bytes)
		if err != nil {
			return err
		}
		was, is := outcomes(f), outcomes(again)
		compared++
		for rule, outcome := range was {
			if is[rule] != outcome {
				differ[rule+": "+outcome+" became "+is[rule]]++
			}
		}
		return os.WriteFile(filepath.Join(out, fmt.Sprintf("%03d.dcm", n)), made.Bytes, 0o644)
	})
	if err != nil {
		t.Fatal(err)
	}
	if compared < 10 {
		t.Errorf("only %d copies compared", compared)
	}
	for what, times := range differ {
		rule, _, _ := strings.Cut(what, ": ")
		if !slices.Contains(withoutNames, rule) {
			t.Errorf("%s, %d times", what, times)
		}
	}
	dump, err := exec.LookPath("dsrdump")
	if err != nil {
		t.Skip("DCMTK is not installed: the copies were not read by another program")
	}
	files, _ := filepath.Glob(filepath.Join(out, "*.dcm"))
	for _, name := range files {
		text, err := exec.Command(dump, name).CombinedOutput()
		if err != nil || strings.Contains(string(text), "E: ") {
			t.Errorf("dsrdump: %v\n%.400s", err, text)
		}
	}
}
