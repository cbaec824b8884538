package writer

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"echotally/internal/judge"
	"echotally/internal/library"

	"github.com/google/go-cmp/cmp"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"echotally/internal/echo"
	"echotally/internal/extract"
	"echotally/internal/finding"
	"echotally/internal/run"
	"echotally/internal/sr"
	"echotally/internal/srtest"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// example is an audit of one small study under five rules of its own, so that
// the golden files do not move with the shipped rules: an error, a missing
// item, one excused, one to look at, one that cannot be told.
func example(t *testing.T) *run.Audit {
	t.Helper()
	set, err := library.Load(library.Settings{}, os.DirFS("testdata/rules"))
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile("testdata/study.txt")
	if err != nil {
		t.Fatal(err)
	}
	doc := srtest.Document(t, string(text))
	study := extract.Study([]*sr.Document{doc}, extract.Catalogues{Measurands: set.Measurands, Statements: set.Statements})
	j := judge.Study(set, study, judge.By{})
	return &run.Audit{
		Created: time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC), SoftwareVersion: "test",
		RuleSet: run.RuleSet{Version: "test", Digest: strings.Repeat("0", 64), Rules: len(set.Rules), Edition: set.Edition},
		Checked: true, Measurands: set.Measurands,
		Studies: []run.Study{{
			StudyInstanceUID: study.StudyInstanceUID, Study: study, Judgement: j, Protocols: j.Protocols, Results: j.All(),
			Several: j.Several,
			Objects: []run.Object{
				{Path: "lab/report.dcm", SHA256: strings.Repeat("a", 64), SOPInstanceUID: doc.SOPInstanceUID, SOPClassUID: doc.SOPClassUID, State: run.Read},
				{Path: "lab/torn.dcm", SOPInstanceUID: "2.25.9", State: run.Partial, Reason: "lost: ends in an item", Hint: "get another copy"},
				{Path: "lab/image.dcm", State: run.Read, Image: true},
			},
		}},
		Unread: []run.Object{{Path: "lab/@notes.txt", State: run.Ignored, Reason: "not a DICOM file"}},
	}
}

// golden compares with a file of testdata/golden, or rewrites it.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	file := filepath.Join("testdata", "golden", name)
	if *update {
		if err := os.WriteFile(file, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), string(got)); diff != "" {
		t.Errorf("%s differs; if it should, run: go test ./internal/writer -update\n%s", name, diff)
	}
}

func TestFormatsAreAsKept(t *testing.T) {
	for _, f := range Formats() {
		t.Run("read "+string(f), func(t *testing.T) {
			var b bytes.Buffer
			if err := Measurements(&b, f, example(t)); err != nil {
				t.Fatal(err)
			}
			golden(t, "read."+string(f), b.Bytes())
		})
		t.Run("check "+string(f), func(t *testing.T) {
			var b bytes.Buffer
			if err := GapSheet(&b, f, example(t), Options{All: true}); err != nil {
				t.Fatal(err)
			}
			golden(t, "check."+string(f), b.Bytes())
		})
	}
}

func compileSchema(t *testing.T, name string) *jsonschema.Schema {
	t.Helper()
	c := jsonschema.NewCompiler()
	for _, n := range []string{"measurement", "read", "check"} {
		src, err := Schemas.ReadFile("schema/" + n + ".schema.json")
		if err != nil {
			t.Fatal(err)
		}
		doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(src))
		if err != nil {
			t.Fatal(err)
		}
		if err := c.AddResource(n+".schema.json", doc); err != nil {
			t.Fatal(err)
		}
	}
	s, err := c.Compile(name + ".schema.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// closed adds to every object of a schema that it may hold no further fields:
// a field that the schema does not explain is an undocumented part of the
// contract.
func closed(node any) any {
	switch n := node.(type) {
	case map[string]any:
		for k, v := range n {
			n[k] = closed(v)
		}
		if _, ok := n["properties"]; ok {
			n["additionalProperties"] = false
		}
		return n
	case []any:
		for i := range n {
			n[i] = closed(n[i])
		}
	}
	return node
}

func validate(t *testing.T, s *jsonschema.Schema, text []byte) {
	t.Helper()
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatalf("%v in %s", err, text)
	}
	if err := s.Validate(v); err != nil {
		t.Errorf("%v", err)
	}
}

func TestMachineOutputsFollowTheirSchemas(t *testing.T) {
	a := example(t)
	write := func(f Format, document func(*bytes.Buffer, Format) error) []byte {
		var b bytes.Buffer
		if err := document(&b, f); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	read := func(b *bytes.Buffer, f Format) error { return Measurements(b, f, a) }
	checked := func(b *bytes.Buffer, f Format) error { return GapSheet(b, f, a, Options{}) }
	validate(t, compileSchema(t, "read"), write(JSON, read))
	validate(t, compileSchema(t, "check"), write(JSON, checked))
	lines := strings.Split(strings.TrimSpace(string(write(NDJSON, read))), "\n")
	if len(lines) != 7 {
		t.Fatalf("%d lines, want one for each of the 7 NUM items", len(lines))
	}
	for _, line := range lines {
		validate(t, compileSchema(t, "measurement"), []byte(line))
	}
}

func TestEveryFieldIsInTheSchema(t *testing.T) {
	a := example(t)
	for name, document := range map[string]func(*bytes.Buffer) error{
		"read":  func(b *bytes.Buffer) error { return Measurements(b, JSON, a) },
		"check": func(b *bytes.Buffer) error { return GapSheet(b, JSON, a, Options{}) },
	} {
		c := jsonschema.NewCompiler()
		for _, n := range []string{"measurement", "read", "check"} {
			src, err := Schemas.ReadFile("schema/" + n + ".schema.json")
			if err != nil {
				t.Fatal(err)
			}
			doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(src))
			if err != nil {
				t.Fatal(err)
			}
			if err := c.AddResource(n+".schema.json", closed(doc)); err != nil {
				t.Fatal(err)
			}
		}
		s, err := c.Compile(name + ".schema.json")
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := document(&b); err != nil {
			t.Fatal(err)
		}
		validate(t, s, b.Bytes())
	}
}

func TestCanonicalPairIsThereWheneverAMeasurandIsNamed(t *testing.T) {
	var b bytes.Buffer
	if err := Measurements(&b, NDJSON, example(t)); err != nil {
		t.Fatal(err)
	}
	seen := map[string]string{}
	for line := range strings.Lines(b.String()) {
		var r map[string]any
		if err := json.Unmarshal([]byte(line), &r); err != nil {
			t.Fatal(err)
		}
		value, hasValue := r["canonicalValue"]
		unit, hasUnit := r["canonicalUnit"]
		if _, named := r["measurand"]; named != hasValue || named != hasUnit {
			t.Errorf("measurand %v, canonical value %v, unit %v: all or none", r["measurand"], value, unit)
		}
		seen[fmt.Sprint(r["item"])] = fmt.Sprint(r["value"], " ", r["unit"], " ", value, " ", unit)
	}
	want := map[string]string{
		"1.3.2": "280 cm/s 2.8 m/s", "1.3.3": "2.9 m/s 2.9 m/s", "1.3.4": "50 mm[Hg] 50 mm[Hg]",
		"1.3.4.1": "2.9 m/s 2.9 m/s", "1.3.5": "1.5 cm <nil> <nil>", "1.3.6": "<nil>  <nil> mm",
		"1.3.7.3": "2 1 <nil> <nil>",
	}
	if diff := cmp.Diff(want, seen); diff != "" {
		t.Error(diff)
	}
}

func TestNoNumberIsEverNaN(t *testing.T) {
	m := &echo.Measurement{ValueText: "NaN", Measurand: "jet-velocity"}
	a := example(t)
	var b bytes.Buffer
	if err := encode(&b, false, newMeasurementRecord("1", m, a.Measurands)); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(b.String(), `"value":null`) || !strings.Contains(b.String(), `"canonicalValue":null`) {
		t.Errorf("got %s", b.String())
	}
	if got := decimal(number(nil)); got != "" {
		t.Errorf("no number is written as %q", got)
	}
}

func TestSpreadsheetsMeetNoFormula(t *testing.T) {
	for in, want := range map[string]string{
		"=1+1": "'=1+1", "+x": "'+x", "-x": "'-x", "@x": "'@x", "\tx": "'\tx", "-3.2": "-3.2", "+4": "+4", "-Inf": "'-Inf", "a=b": "a=b", "": "",
	} {
		if got := guard(in); got != want {
			t.Errorf("guard(%q) is %q, want %q", in, got, want)
		}
	}
	a := example(t)
	for name, document := range map[string]func(*bytes.Buffer) error{
		"read":  func(b *bytes.Buffer) error { return Measurements(b, CSV, a) },
		"check": func(b *bytes.Buffer) error { return GapSheet(b, CSV, a, Options{}) },
	} {
		var b bytes.Buffer
		if err := document(&b); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(&b).ReadAll()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		for _, row := range rows {
			for _, cell := range row {
				if cell != "" && strings.ContainsRune("=@", rune(cell[0])) {
					t.Errorf("%s: cell %q begins a formula", name, cell)
				}
			}
		}
	}
}

func TestIdentityIsPrintedOnlyWhenAskedFor(t *testing.T) {
	a := example(t)
	for _, f := range Formats() {
		for _, identify := range []bool{false, true} {
			var b bytes.Buffer
			if err := GapSheet(&b, f, a, Options{All: true, Identify: identify}); err != nil {
				t.Fatal(err)
			}
			got := strings.Contains(strings.ToUpper(b.String()), "MARKER")
			want := identify && (f == Text || f == HTML)
			if got != want {
				t.Errorf("%s, identify %v: identity printed %v, want %v", f, identify, got, want)
			}
		}
		var b bytes.Buffer
		if err := Measurements(&b, f, a); err != nil {
			t.Fatal(err)
		}
		if strings.Contains(strings.ToUpper(b.String()), "MARKER") {
			t.Errorf("the measurement list as %s names the patient", f)
		}
	}
}

// A relation that holds says by which form of its formula, wherever passes are
// written.
func TestPassSaysWhichFormFitted(t *testing.T) {
	a := example(t)
	a.Studies[0].Results = append(a.Studies[0].Results, finding.Result{Rule: "x/y", About: &finding.About{Title: "Holds", Kind: finding.Consistency},
		Outcome: finding.Pass, Severity: finding.Error, Variant: "over the mitral flow"})
	for format, want := range map[Format]string{Text: "fits: over the mitral flow", HTML: "fits: over the mitral flow", JSON: `"variant": "over the mitral flow"`} {
		var b bytes.Buffer
		if err := GapSheet(&b, format, a, Options{All: true}); err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(b.String(), want) {
			t.Errorf("%s does not say %q", format, want)
		}
		if format == JSON {
			validate(t, compileSchema(t, "check"), b.Bytes())
		}
	}
}

func TestSheetNeverClearsAStudy(t *testing.T) {
	for _, s := range []*sheet{
		{Reports: []reportLine{{Letter: "A"}}},
		{Reports: []reportLine{{Letter: "A"}}, Counts: counts{Open: 2, Warnings: 1}},
	} {
		if text := s.Besides(); strings.Contains(text, "may be signed") || !strings.Contains(text, "reader's decision") {
			t.Errorf("first section says %q", text)
		}
	}
	one := []reportLine{{Letter: "A"}}
	for want, s := range map[string]sheet{
		"nothing was checked":                   {},
		"reports hold no measurement: only the": {Reports: one},
		"No measurement of the reports has a":   {Reports: one, Measured: 3, Unnamed: 3},
	} {
		if got := s.Obstacles(); len(got) != 1 || !strings.Contains(got[0], want) {
			t.Errorf("want %q, got %q", want, got)
		}
	}
	if got := (&sheet{Reports: one, Measured: 3, Unnamed: 2}).Obstacles(); len(got) != 0 {
		t.Errorf("a study with a known measurement: %q", got)
	}
}

func TestFailureWithoutCauseSaysSo(t *testing.T) {
	b := &sheetBuilder{audit: &run.Audit{}, study: &run.Study{Study: &echo.Study{}}, letters: map[string]string{}}
	for _, c := range []struct {
		r    finding.Result
		want string
	}{
		{finding.Result{About: &finding.About{Kind: finding.Consistency}, Outcome: finding.Fail}, "none of those tried"},
		{finding.Result{About: &finding.About{Kind: finding.Consistency}, Outcome: finding.Fail, Causes: []finding.Hypothesis{{Text: "digits"}}}, "digits"},
		{finding.Result{About: &finding.About{Kind: finding.Completeness}, Outcome: finding.Fail}, ""}, // what is missing is no slip
		{finding.Result{About: &finding.About{Kind: finding.Consistency}, Outcome: finding.Review}, ""},
	} {
		if got := strings.Join(b.entry(&c.r).Causes, "; "); !strings.Contains(got, c.want) || (c.want == "") != (got == "") {
			t.Errorf("%s %s: %q, want %q", c.r.Kind, c.r.Outcome, got, c.want)
		}
	}
}

func TestContractTellsEveryField(t *testing.T) {
	for _, name := range []string{"measurement", "read", "check"} {
		text, err := Contract(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, field := range []string{"sopInstanceUID", "schemaVersion"} {
			if !strings.Contains(text, field) {
				t.Errorf("contract %s does not tell %s", name, field)
			}
		}
	}
}
