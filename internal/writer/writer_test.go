package writer

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"echotally/internal/library"
	"echotally/internal/writer/withhold"

	"github.com/google/go-cmp/cmp"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"echotally/internal/echo"
	"echotally/internal/extract"
	"echotally/internal/finding"
	"echotally/internal/judge"
	"echotally/internal/judgement"
	"echotally/internal/layout"
	"echotally/internal/run"
	"echotally/internal/sr"
	"echotally/internal/srtest"
	"echotally/internal/term"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// example is a run over one small study under five rules of its own, so that
// the golden files do not move with the shipped rules: an error, a missing item,
// one excused, one to look at, one that is not known.
func example(t *testing.T) *work {
	t.Helper()
	lib, err := library.Load(library.Settings{}, os.DirFS("testdata/rules"))
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile("testdata/study.txt")
	if err != nil {
		t.Fatal(err)
	}
	doc := srtest.Document(t, string(text))
	study := extract.Study([]*sr.Document{doc}, extract.Catalogues{Measurands: lib.Measurands, Statements: lib.Statements})
	return &work{
		run: &run.Run{
			Created: time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC), SoftwareVersion: "test", Studies: 1,
			RuleSet: judgement.Library{Version: "test", Digest: strings.Repeat("0", 64), Rules: len(lib.Rules), Edition: lib.Edition},
			Rules: func() (out []*finding.About) {
				for _, one := range lib.Rules {
					out = append(out, judge.About(one))
				}
				return out
			},
			Measurands: lib.Measurands, Windows: lib.Terms.Ordered(term.Window), Unread: []run.Object{{Path: "lab/@notes.txt", State: run.Ignored, Reason: "not a DICOM file"}},
		},
		studies: []*run.Study{{
			StudyInstanceUID: study.StudyInstanceUID, Study: study, Judgement: judge.Study(lib, study, judge.By{}),
			Objects: []run.Object{
				{Path: "lab/report.dcm", SHA256: strings.Repeat("a", 64), SOPInstanceUID: doc.SOPInstanceUID, SOPClassUID: doc.SOPClassUID, State: run.Read},
				{Path: "lab/torn.dcm", SOPInstanceUID: "2.25.9", State: run.Partial, Reason: "lost: ends in an item", Hint: "get another copy"},
				{Path: "lab/image.dcm", State: run.Read, Image: true},
			},
		}},
	}
}

// work is a run with its studies.
type work struct {
	run     *run.Run
	studies []*run.Study
}

// write writes the studies as the desk does.
func (a *work) write(d *Document) error {
	if err := d.Begin(a.run); err != nil {
		return err
	}
	for _, s := range a.studies {
		leaf, err := d.Leaf(s)
		if err == nil {
			err = d.Add(leaf)
		}
		if err != nil {
			return err
		}
	}
	return d.End()
}

func (a *work) measurements(t *testing.T, f layout.Format) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := a.write(Measurements(&b, f)); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func (a *work) gapSheet(t *testing.T, f layout.Format, opt Options) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := a.write(GapSheet(&b, f, opt)); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
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
	for _, f := range layout.Formats() {
		t.Run("read "+string(f), func(t *testing.T) { golden(t, "read."+string(f), example(t).measurements(t, f)) })
		t.Run("check "+string(f), func(t *testing.T) { golden(t, "check."+string(f), example(t).gapSheet(t, f, Options{All: true})) })
	}
}

// Several studies are listed, one has no report, one was the program's fault, and
// a run without any says so; machines read each of them.
func TestSeveralStudiesAndNone(t *testing.T) {
	a := example(t)
	a.studies = append(a.studies, &run.Study{StudyInstanceUID: "2.25.78", Objects: []run.Object{{Path: "x", State: run.Refused, Reason: "no"}}},
		&run.Study{StudyInstanceUID: "2.25.79", Failed: "internal error at somewhere"})
	a.run.Studies = len(a.studies)
	none := &work{run: a.run}
	for _, f := range layout.Formats() {
		several := strings.Join(strings.Fields(string(a.gapSheet(t, f, Options{}))), " ") // lines may be broken anywhere
		if !strings.Contains(several, "2.25.78") || !strings.Contains(several, "internal error at somewhere") {
			t.Errorf("%s: a study is missing or a fault is not shown\n%s", f, several)
		}
		if f == layout.Text && !strings.Contains(several, "3 STUDIES") || f == layout.HTML && !strings.Contains(several, `<a href="#studies">`) {
			t.Errorf("%s: no overview", f)
		}
		for _, w := range []*work{a, none} {
			switch f {
			case layout.JSON:
				validate(t, compileSchema(t, "check"), w.gapSheet(t, f, Options{}))
				validate(t, compileSchema(t, "read"), w.measurements(t, f))
			case layout.NDJSON:
				lines := strings.Split(strings.TrimSpace(string(w.gapSheet(t, f, Options{}))), "\n")
				if len(lines) != 1+len(w.studies) || !strings.HasPrefix(lines[0], `{"record":"run"`) {
					t.Errorf("%d lines, the first %.40s", len(lines), lines[0])
				}
			}
		}
		a.run.Studies = 0
		if text := string(none.gapSheet(t, f, Options{})); (f == layout.Text || f == layout.HTML) && !strings.Contains(text, "nothing was checked") {
			t.Errorf("%s: %s", f, text)
		}
		a.run.Studies = len(a.studies)
	}
}

// What cannot be computed never ends a document.
func TestNoNumberEndsADocument(t *testing.T) {
	a := example(t)
	inf, nan := math.Inf(1), math.NaN()
	a.studies[0].Judgement.Reconciliation = &finding.Reconciliation{
		ChiSquare: inf, PValue: nan, Residuals: []finding.Residual{{Measurand: "m", Value: nan, Reconciled: -inf, Z: inf, Testable: true}},
		Suspects: [][]finding.Suspect{{{Measurand: "m", Value: inf, Estimate: nan, Low: &nan, High: &inf, Unit: "1", Estimable: true}}},
	}
	for _, f := range layout.Formats() {
		text := a.gapSheet(t, f, Options{})
		if f == layout.JSON {
			validate(t, compileSchema(t, "check"), text)
		}
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
	validate(t, compileSchema(t, "read"), a.measurements(t, layout.JSON))
	validate(t, compileSchema(t, "check"), a.gapSheet(t, layout.JSON, Options{}))
	lines := strings.Split(strings.TrimSpace(string(a.measurements(t, layout.NDJSON))), "\n")
	if len(lines) != 7 {
		t.Fatalf("%d lines, want one for each of the 7 NUM items", len(lines))
	}
	for _, line := range lines {
		validate(t, compileSchema(t, "measurement"), []byte(line))
	}
}

func TestEveryFieldIsInTheSchema(t *testing.T) {
	a := example(t)
	for name, document := range map[string][]byte{"read": a.measurements(t, layout.JSON), "check": a.gapSheet(t, layout.JSON, Options{})} {
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
		validate(t, s, document)
	}
}

func TestCanonicalPairIsThereWheneverAMeasurandIsNamed(t *testing.T) {
	seen := map[string]string{}
	for line := range strings.Lines(string(example(t).measurements(t, layout.NDJSON))) {
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
		"1.3.2": "280 cm/s 2.8 m/s", "1.3.3": "2.9 m/s 2.9 m/s", "1.3.4": "11.6 mm[Hg] 11.6 mm[Hg]",
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
	if err := layout.Encode(&b, false, newMeasurementRecord("1", m, a.run.Measurands)); err != nil {
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
	a := example(t)
	for name, document := range map[string][]byte{"read": a.measurements(t, layout.CSV), "check": a.gapSheet(t, layout.CSV, Options{})} {
		rows, err := csv.NewReader(bytes.NewReader(document)).ReadAll()
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
	for _, f := range layout.Formats() {
		for _, identify := range []bool{false, true} {
			got := strings.Contains(strings.ToUpper(string(a.gapSheet(t, f, Options{All: true, Identify: identify}))), "MARKER")
			want := identify && (f == layout.Text || f == layout.HTML)
			if got != want {
				t.Errorf("%s, identify %v: identity printed %v, want %v", f, identify, got, want)
			}
		}
		if strings.Contains(strings.ToUpper(string(a.measurements(t, f))), "MARKER") {
			t.Errorf("the measurement list as %s names the patient", f)
		}
	}
}

// A relation that holds says by which form of its formula, wherever passes are
// written.
func TestPassSaysWhichFormFitted(t *testing.T) {
	a := example(t)
	j := a.studies[0].Judgement
	j.Results = append(j.Results, finding.Result{Rule: "x/y", About: &finding.About{Title: "Holds", Kind: finding.Consistency},
		Outcome: finding.Pass, Severity: finding.Error, Variant: "over the mitral flow"})
	for format, want := range map[layout.Format]string{layout.Text: "fits: over the mitral flow", layout.HTML: "fits: over the mitral flow", layout.JSON: `"variant":"over the mitral flow"`} {
		text := a.gapSheet(t, format, Options{All: true})
		if !strings.Contains(string(text), want) {
			t.Errorf("%s does not say %q", format, want)
		}
		if format == layout.JSON {
			validate(t, compileSchema(t, "check"), text)
		}
	}
}

// Printed pages get separated: each says of which study it is, and of whom only
// when asked for.
func TestPagesCarryTheStudy(t *testing.T) {
	a := example(t)
	for identify, want := range map[bool]string{
		false: "study 2.25.10 of 2026-03-14; patient not named", true: "study 2.25.10 of 2026-03-14; MARKERSON MARKERINE, MARKER-ID, MARKER-ACCESSION",
	} {
		if text := string(a.gapSheet(t, layout.HTML, Options{Identify: identify})); !strings.Contains(text, want) {
			t.Errorf("identify %v: no %q", identify, want)
		}
	}
}

func TestSheetNeverClearsAStudy(t *testing.T) {
	one := []reportLine{{Letter: "A"}}
	for want, s := range map[string]sheet{
		"neither error nor warning.":                      {Reports: one},
		"neither error nor warning; … 2 checks could not": {Reports: one, Counts: counts{Open: 2}},
		"■ 1 error [2]; ▲ 1 warning [1].": {
			Reports: one, Take: []windowGroup{{"apical", []entry{{Number: 1, Word: "warning"}}}}, Untrue: []entry{{Number: 2, Word: "error"}},
		},
	} {
		if got := s.Verdict(); !strings.Contains(got, want) {
			t.Errorf("want %q, got %q", want, got)
		}
	}
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
	for _, f := range []layout.Format{layout.Text, layout.HTML} {
		if text := string(example(t).gapSheet(t, f, Options{})); !strings.Contains(text, "reader") || strings.Contains(text, "may be signed") {
			t.Errorf("%s does not say who decides", f)
		}
	}
}

// What a title only says again is left out; what counts as done is not.
func TestNothingIsSaidTwice(t *testing.T) {
	for _, c := range []struct {
		title, message string
		want           bool
	}{
		{"TAPSE is measured", "No TAPSE.", false},
		{"The right atrial volume index is recorded or can be computed", "No right atrial volume for body size.", false},
		{"The gradient follows from the velocity", "Gradient 85 mmHg, but 4.01 m/s gives 64 mmHg.", false},
		{"Aortic area, gradient and velocity tell the same grade", "Aortic valve area 0.73 cm² with a mean gradient of 37 mmHg and 3.88 m/s.", true},
		{"The peak velocity comes from at least two views", "The tricuspid velocity 2.61 m/s comes from 1 of the views that count; 2 are needed.", true},
	} {
		if got := adds(c.title, c.message); got != c.want {
			t.Errorf("%q after %q: %v", c.title, c.message, got)
		}
	}
}

// That the measurements fit together never stands beside an error.
func TestFitIsNotSaidBesideAContradiction(t *testing.T) {
	fits := &finding.Reconciliation{Settled: true, Relations: []finding.RelationUse{{Identifier: "one"}}}
	if got := (&sheetBuilder{}).jointLines(fits, false); len(got) != 1 || !strings.Contains(got[0], "fit together") {
		t.Errorf("%q", got)
	}
	if got := (&sheetBuilder{}).jointLines(fits, true); len(got) != 0 {
		t.Errorf("beside a contradiction: %q", got)
	}
}

func TestFailureWithoutCauseSaysSo(t *testing.T) {
	b := &sheetBuilder{study: &run.Study{Study: &echo.Study{}}, letters: map[string]string{}, withhold: withhold.New(echo.Identity{}), doubted: map[*echo.Image]bool{}}
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
