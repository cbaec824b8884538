package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"echotally/internal/dcmtest"
	"echotally/internal/srtest"
)

// marked is a report that names people wherever a report can: the header's
// patient module, visit and study attributes, observer context, person name
// items, private elements, and in a sentence.
const marked = `
header 00080005 = ISO_IR 192
header 00080020 = 20260314
header 00080050 = MARKERACCESSION
header 00080080 = MARKER HOSPITAL
header 00080090 = MARKERREFERRER^R
header 00081010 = STATION1
header 00081048 = MARKERPHYSICIAN^P
header 00081050 = MARKERPERFORMER^P
header 00081060 = MARKERREADER^R
header 00081070 = MARKEROPERATOR^O
header 00100010 = MARKERSON^MARKERINE^^MRS
header 00100020 = MARKERID-77
header 00100021 = MARKERISSUER
header 00100030 = 19770707
header 00101000 = MARKEROTHERID
header 00101001 = MARKERMAIDEN^M
header 00101040 = MARKERSTREET 7
header 0040A075 = MARKERVERIFIER^V
container DCM:125200 "Adult Echocardiography Procedure Report"
  obs pname DCM:121008 "Person Observer Name" = MARKEROBSERVER^O
  obs text DCM:121029 "Subject Name" = MARKERSON^MARKERINE
  contains text DCM:121071 "Finding" = Mrs MARKERSON (MARKERID-77) has an eccentric tricuspid regurgitation jet, accession MARKERACCESSION.
  contains container DCM:121070 "Findings"
    mod code SCT:363698007 = SCT:46030003 "Tricuspid valve"
    contains num LN:11726-7 "Peak velocity" = 2.80 m/s
      mod code SCT:260674002 "Flow Direction" = SCT:312004007 "Regurgitant flow"
    contains num LN:20247-3 "Peak gradient" = 60 mm[Hg]
      mod code SCT:260674002 "Flow Direction" = SCT:312004007 "Regurgitant flow"
    contains num 99OLD:X1 "Something" = 1.5 furlong
`

// perform runs a command line in this process.
func perform(args ...string) (output string, code int) {
	var out bytes.Buffer
	code = performTo(&out, &out, args)
	return out.String(), code
}

func TestNobodyIsNamed(t *testing.T) {
	dir := t.TempDir()
	whole := dcmtest.Encode(srtest.Report(t, marked), dcmtest.Encoding{})
	files := map[string][]byte{"whole.dcm": whole}
	// Earlier studies under the same ID, one of them of somebody else.
	for name, header := range map[string]string{
		"before.dcm": "header 00080018 = 2.25.81\nheader 0020000D = 2.25.91\nheader 00080020 = 20240105\n",
		"other.dcm":  "header 00080018 = 2.25.82\nheader 0020000D = 2.25.92\nheader 00080020 = 20230105\nheader 00100030 = 19770708\n",
	} {
		files[name] = dcmtest.Encode(srtest.Report(t, strings.Replace(marked, "container DCM:125200", header+"container DCM:125200", 1)), dcmtest.Encoding{})
	}
	// Cut at places that fall into the header, into a name, and into the tree.
	for i, at := range []int{140, 400, bytes.Index(whole, []byte("MARKERSON")) + 4, len(whole) / 2, len(whole) - 30} {
		files["cut"+string(rune('a'+i))+".dcm"] = whole[:at]
	}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	lines := [][]string{{"codes", dir}, {"codes", dir, "--format", "json"}, {"dump", filepath.Join(dir, "whole.dcm")}, {"read", dir, "--log-level", "debug"}}
	for _, format := range []string{"text", "json", "ndjson", "csv", "html"} {
		lines = append(lines, []string{"read", dir, "--format", format},
			[]string{"check", dir, "--format", format, "--all", "--log-level", "debug", "--log-format", "json"})
	}
	for name := range files {
		lines = append(lines, []string{"dump", filepath.Join(dir, name)}, []string{"check", filepath.Join(dir, name), "--log-level", "debug"})
	}
	for _, line := range lines {
		output, _ := perform(line...)
		if output == "" {
			t.Errorf("echotally %s: no output at all", strings.Join(line, " "))
		}
		upper := strings.ToUpper(strings.ReplaceAll(output, dir, ""))
		for _, marker := range []string{"MARKER", "1977070"} {
			if at := strings.Index(upper, marker); at >= 0 {
				t.Errorf("echotally %s\nnames somebody: ...%s...", strings.Join(line, " "), upper[max(at-80, 0):min(at+80, len(upper))])
			}
		}
	}
	if output, _ := perform("check", dir); !strings.Contains(output, "The birth date is another than in the earlier study of 2023-01-05") {
		t.Error("the studies were not compared")
	}
	// The gap sheet names the patient, and nobody else, when asked to.
	output, code := perform("check", filepath.Join(dir, "whole.dcm"), "--identify")
	if code != exitFindings || !strings.Contains(output, "MARKERSON MARKERINE") || !strings.Contains(output, "MARKERID-77") {
		t.Errorf("--identify: exit code %d, output\n%s", code, output)
	}
	for _, other := range []string{"REFERRER", "PHYSICIAN", "PERFORMER", "READER^", "OPERATOR", "OBSERVER", "VERIFIER", "HOSPITAL"} {
		if strings.Contains(output, "MARKER"+other) {
			t.Errorf("--identify names %s", other)
		}
	}
}
