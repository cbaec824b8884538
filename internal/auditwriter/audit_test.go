package auditwriter_test

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/xuri/excelize/v2"

	"echotally/internal/actionlog"
	"echotally/internal/audit"
	"echotally/internal/auditwriter"
	"echotally/internal/booklet/pdfpage"
	"echotally/internal/calendar"
	"echotally/internal/casemix"
	"echotally/internal/counted"
	"echotally/internal/finding"
	"echotally/internal/table"
	"echotally/internal/tally"
)

// lab is a made-up lab with something in every table.
func lab(names string) []counted.Study {
	random := rand.New(rand.NewPCG(1, 2))
	tapse := &tally.Rule{Identifier: "right-ventricle/tapse-present", Title: "TAPSE is measured", Kind: finding.Completeness, Severity: finding.Warning, Measurands: []string{"tapse"}}
	jet := &tally.Rule{Identifier: "tricuspid-valve/vena-contracta-present", Title: "Vena contracta with a jet", Kind: finding.Completeness, Severity: finding.Warning, Conditional: true}
	sum := &tally.Rule{Identifier: "left-ventricle/fraction", Title: "The fraction follows from the volumes", Kind: finding.Consistency, Severity: finding.Error}
	frame := &tally.Rule{Identifier: "acquisition/frame-rate", Title: "Frame rate", Kind: finding.Acquisition, Severity: finding.Warning}
	var out []counted.Study
	for i := range 720 {
		date := time.Date(2025, 11, 1+i/2, 0, 0, 0, 0, time.UTC)
		ended := date.Add(11 * time.Hour)
		s := counted.Study{
			UID: fmt.Sprintf("2.25.%d", 1000+i), Date: date, Lab: "=HYPERLINK(\"x\")", Site: "+Site", Setting: "outpatient", Protocol: "comprehensive", Kind: "Comprehensive",
			Device:      counted.Device{Maker: "M", Model: "@Model 9", Software: "1." + fmt.Sprint(i/400), Station: "ROOM-1"},
			Sonographer: fmt.Sprintf("p-%s%d", names, random.IntN(6)), Reader: fmt.Sprintf("p-%s%d", names, random.IntN(5)),
			Case: casemix.Case{Arrhythmia: random.IntN(5) == 0, BodySize: 1.8}, Images: 3,
			Coding: counted.Coding{Measurements: 60, Views: 30 - random.IntN(5), WantViews: 30}, Times: counted.Times{Ended: ended, Read: ended.Add(3 * time.Hour), Signed: ended.Add(20 * time.Hour)},
			Spreads: []counted.Spread{{Quantity: &counted.Quantity{Measurand: "tapse", Title: "TAPSE"}, Readings: []float64{2.1, 2.2 + 0.1*random.Float64(), 2.2}}},
		}
		x := 1.6 + random.Float64()
		s.Pairs = []counted.Pair{{Quantity: &counted.Quantity{Measurand: "tapse", Title: "TAPSE", Unit: "cm"}, Compared: counted.TwoObservers, First: x, Second: x - 0.1 + 0.2*random.Float64(), Identical: i%9 == 0}}
		for range 2 {
			s.Values = append(s.Values, counted.Value{Quantity: &counted.Quantity{Measurand: "left-ventricular-ejection-fraction-biplane", Title: "Ejection fraction", Step: 1, Unit: "%"}, X: 46 + 8*random.Float64()})
		}
		outcome := func(p float64) finding.Outcome {
			if random.Float64() < p {
				return finding.Fail
			}
			return finding.Pass
		}
		s.Results = tally.OutcomesOf(
			tally.Result{Rule: tapse, Outcome: outcome(0.15), Severity: finding.Warning}, tally.Result{Rule: jet, Outcome: outcome(0.3), Severity: finding.Warning},
			tally.Result{Rule: sum, Outcome: outcome(0.05), Severity: finding.Error, Cause: "unit-factor-10"}, tally.Result{Rule: frame, Outcome: outcome(0.1), Severity: finding.Warning},
		)
		if i%7 == 0 {
			s.Waivers = []tally.Waiver{{Rule: tapse.Identifier, Reason: "no-window", Effect: tally.Exception, Late: i%2 == 0}}
		}
		if i%40 == 0 {
			s.Suspect, s.Protocol, s.Kind = []string{"Stroke volume"}, "limited", "Limited"
		}
		if i%50 == 3 {
			s.Times.Signed = time.Time{}
		}
		out = append(out, s)
	}
	return out
}

func labReport(t *testing.T, names string) *audit.Report {
	t.Helper()
	opt := audit.Defaults()
	var err error
	if opt.Period, err = calendar.Month("2026-10"); err != nil {
		t.Fatal(err)
	}
	opt.Cutoff, opt.Created = time.Date(2026, 11, 2, 9, 0, 0, 0, time.UTC), time.Date(2026, 11, 2, 9, 5, 0, 0, time.UTC)
	opt.Software, opt.RuleSet, opt.Edition, opt.Floor = "echotally test", "abc123", "2025", 5
	opt.Actions = []actionlog.Action{{Number: 1, Title: "=A line on the worksheet", Cause: "forgotten", Owner: "lead sonographer", Measure: audit.Complete, Started: time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)}}
	return audit.Build(lab(names), opt)
}

func auditSet(t *testing.T, names string) string {
	t.Helper()
	dir := t.TempDir()
	if show := os.Getenv("ECHOTALLY_SHOW"); show != "" {
		dir = show
	}
	if _, err := auditwriter.AuditSet(dir, labReport(t, names), pdfpage.A4); err != nil {
		t.Fatal(err)
	}
	return dir
}

// parts are the names and contents of a workbook's parts, sorted.
func parts(t *testing.T, b []byte) []byte {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	slices.SortFunc(z.File, func(a, b *zip.File) int { return strings.Compare(a.Name, b.Name) })
	var all bytes.Buffer
	for _, f := range z.File {
		fmt.Fprintf(&all, "%s %d %08x\n", f.Name, f.UncompressedSize64, f.CRC32)
	}
	return all.Bytes()
}

// The same report gives the same bytes.
func TestAuditSetIsRepeatable(t *testing.T) {
	a, b := t.TempDir(), t.TempDir()
	names, err := auditwriter.AuditSet(a, labReport(t, "x"), pdfpage.A4)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := auditwriter.AuditSet(b, labReport(t, "x"), pdfpage.A4); err != nil {
		t.Fatal(err)
	}
	for _, n := range names {
		x, _ := os.ReadFile(filepath.Join(a, n))
		y, _ := os.ReadFile(filepath.Join(b, n))
		if n == "audit.xlsx" {
			// The parts lie in the archive in any order.
			x, y = parts(t, x), parts(t, y)
		}
		if !bytes.Equal(x, y) {
			t.Errorf("%s differs between two writings", n)
		}
	}
}

// No ledger pseudonym and no study identifier leaves with the lab's audit.
func TestAuditSetNamesNobody(t *testing.T) {
	const marker = "MARKERSTAFF"
	dir := auditSet(t, marker)
	found := 0
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		found++
		b, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		text := string(b)
		if strings.HasSuffix(path, ".xlsx") {
			text = unzipped(t, b)
		}
		if strings.HasSuffix(path, ".pdf") {
			if text, err = pdfText(path); errors.Is(err, exec.ErrNotFound) {
				t.Log("pdftotext is not installed: the PDF was not searched")
			} else if err != nil {
				return err
			}
		}
		for _, forbidden := range []string{marker, "2.25.10"} {
			if strings.Contains(text, forbidden) {
				t.Errorf("%s holds %s", filepath.Base(path), forbidden)
			}
		}
		return nil
	})
	if err != nil || found < 20 {
		t.Fatalf("%d files: %v", found, err)
	}
}

func pdfText(path string) (string, error) {
	out, err := exec.Command("pdftotext", path, "-").Output()
	return string(out), err
}

func unzipped(t *testing.T, b []byte) string {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	var all strings.Builder
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.Copy(&all, r); err != nil {
			t.Fatal(err)
		}
		r.Close()
	}
	return all.String()
}

// No cell of any CSV file begins as a formula would, and every column is in the
// dictionary.
func TestAuditTablesAreSafeAndExplained(t *testing.T) {
	dir := auditSet(t, "x")
	explained := map[string]bool{}
	for _, row := range readCSV(t, filepath.Join(dir, "dictionary.csv"))[1:] {
		explained[row[0]+" "+row[1]] = row[4] != ""
	}
	files, err := filepath.Glob(filepath.Join(dir, "*.csv"))
	if err != nil || len(files) < 20 {
		t.Fatalf("%d CSV files: %v", len(files), err)
	}
	guarded := 0
	for _, path := range files {
		rows := readCSV(t, path)
		for i, row := range rows {
			for k, cell := range row {
				if i == 0 && filepath.Base(path) != "dictionary.csv" && !explained[filepath.Base(path)+" "+cell] {
					t.Errorf("%s: column %s is not in the dictionary", filepath.Base(path), cell)
				}
				if strings.HasPrefix(cell, "'") {
					guarded++
				}
				if _, err := fmt.Sscanf(cell, "%g", new(float64)); cell != "" && strings.ContainsRune("=+-@", rune(cell[0])) && err != nil {
					t.Errorf("%s row %d column %d: %q would be taken for a formula", filepath.Base(path), i, k, cell)
				}
			}
		}
	}
	if guarded == 0 {
		t.Error("no cell was guarded although the lab has names that begin like formulas")
	}
}

func readCSV(t *testing.T, path string) [][]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	return rows
}

func TestAuditJSONKeepsItsContract(t *testing.T) {
	compiled := contract(t, "audit.schema.json")
	document := documentOf(t, filepath.Join(auditSet(t, "x"), "audit.json"))
	if err := compiled.Validate(document); err != nil {
		t.Error(err)
	}
	document.(map[string]any)["patient"] = "x"
	if compiled.Validate(document) == nil {
		t.Error("the schema allows fields it does not name")
	}
}

func contract(t *testing.T, name string) *jsonschema.Schema {
	t.Helper()
	src, err := auditwriter.Schemas.ReadFile("schema/" + name)
	if err != nil {
		t.Fatal(err)
	}
	schema, err := jsonschema.UnmarshalJSON(bytes.NewReader(src))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource(name, schema); err != nil {
		t.Fatal(err)
	}
	compiled, err := c.Compile(name)
	if err != nil {
		t.Fatal(err)
	}
	return compiled
}

func documentOf(t *testing.T, path string) any {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	document, err := jsonschema.UnmarshalJSON(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	return document
}

// The workbook opens again, its parts are well-formed, figures are numbers, the
// header is frozen and there is no formula.
func TestAuditWorkbook(t *testing.T) {
	dir := auditSet(t, "x")
	f, err := excelize.OpenFile(filepath.Join(dir, "audit.xlsx"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	panes, err := f.GetPanes("completeness")
	if err != nil || !panes.Freeze || panes.YSplit != 1 {
		t.Errorf("header of completeness is not frozen: %+v %v", panes, err)
	}
	rows, err := f.GetRows("completeness")
	if err != nil || len(rows) != 3 {
		t.Fatalf("completeness: %d rows, %v", len(rows), err)
	}
	if kind, err := f.GetCellType("completeness", "E2"); err != nil || kind != excelize.CellTypeUnset && kind != excelize.CellTypeNumber {
		t.Errorf("a count is no number: type %v %v", kind, err)
	}
	for _, sheet := range f.GetSheetList() {
		all, err := f.GetRows(sheet)
		if err != nil {
			t.Fatal(err)
		}
		for i, row := range all {
			for k := range row {
				at, _ := excelize.CoordinatesToCellName(k+1, i+1)
				if formula, _ := f.GetCellFormula(sheet, at); formula != "" {
					t.Errorf("%s %s holds the formula %s", sheet, at, formula)
				}
			}
		}
	}
	b, err := os.ReadFile(filepath.Join(dir, "audit.xlsx"))
	if err != nil {
		t.Fatal(err)
	}
	wellFormed(t, b)
}

func wellFormed(t *testing.T, workbook []byte) {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(workbook), int64(len(workbook)))
	if err != nil {
		t.Fatal(err)
	}
	for _, part := range z.File {
		if !strings.HasSuffix(part.Name, ".xml") && !strings.HasSuffix(part.Name, ".rels") {
			t.Errorf("a part of another kind: %s", part.Name)
			continue
		}
		r, err := part.Open()
		if err != nil {
			t.Fatal(err)
		}
		d := xml.NewDecoder(r)
		for {
			if _, err := d.Token(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatalf("%s: %v", part.Name, err)
			}
		}
		r.Close()
	}
}

// What the workbook, the page, the JSON and the CSV say of one measure is the
// same.
func TestAuditFormatsAgree(t *testing.T) {
	dir, r := auditSet(t, "x"), labReport(t, "x")
	h := r.Headlines[0]
	page, err := os.ReadFile(filepath.Join(dir, "audit.html"))
	if err != nil || !strings.Contains(string(page), table.Percent(h.Now)) {
		t.Errorf("the page does not say %s: %v", table.Percent(h.Now), err)
	}
	row := readCSV(t, filepath.Join(dir, "headlines.csv"))[1]
	if row[2] != fmt.Sprint(h.Now.Count) || row[3] != fmt.Sprint(h.Now.Total) {
		t.Errorf("headlines.csv says %v, the report %v", row, h.Now)
	}
	b, err := os.ReadFile(filepath.Join(dir, "audit.json"))
	if err != nil {
		t.Fatal(err)
	}
	var document struct {
		Tables []struct {
			Identifier string  `json:"identifier"`
			Rows       [][]any `json:"rows"`
		} `json:"tables"`
	}
	if err := json.Unmarshal(b, &document); err != nil {
		t.Fatal(err)
	}
	if got := document.Tables[0].Rows[0][4].(float64); math.Abs(got-100*h.Now.Value()) > 1e-9 {
		t.Errorf("audit.json says %v, the report %v", got, 100*h.Now.Value())
	}
	agreement := readCSV(t, filepath.Join(dir, "agreement.csv"))
	a := r.Agreements[0].Test // of the beats, whose bias is the only one that is none by chance
	if len(agreement) != 3 || agreement[2][3] != fmt.Sprint(a.Pairs) || agreement[2][5] != fmt.Sprint(a.Bias) || agreement[2][6] != fmt.Sprint(a.OfBias.Low) || agreement[2][14] != fmt.Sprint(a.OfUpper.High) {
		t.Errorf("agreement.csv says %v, the report %+v", agreement, a)
	}
	for _, table := range document.Tables {
		if table.Identifier == "agreement" && (len(table.Rows) != 2 || table.Rows[1][5] != a.Bias || table.Rows[1][14] != a.OfUpper.High) {
			t.Errorf("audit.json says %v of agreement, the report %+v", table.Rows, a)
		}
	}
	if !strings.Contains(string(page), fmt.Sprintf("Differences of %d pairs", a.Pairs)) {
		t.Error("the page does not draw the agreement")
	}
	if text, err := pdfText(filepath.Join(dir, "audit.pdf")); err != nil {
		t.Log("the PDF was not compared:", err)
	} else if !strings.Contains(text, table.Percent(h.Now)) {
		t.Errorf("the PDF does not say %s", table.Percent(h.Now))
	}
}

// Rows in which nothing is remarkable are folded away on the page, all others
// are shown, and none is lost.
func TestAuditPageShowsEveryRowOnce(t *testing.T) {
	dir := auditSet(t, "x")
	page, err := os.ReadFile(filepath.Join(dir, "audit.html"))
	if err != nil {
		t.Fatal(err)
	}
	folded := 0
	for _, table := range auditTables(t, dir) {
		_, section, found := strings.Cut(string(page), `<h2 id="`+table.Identifier+`">`)
		if !found {
			t.Errorf("%s is not on the page", table.Identifier)
			continue
		}
		section, _, _ = strings.Cut(section, "</section>")
		shown, rest, _ := strings.Cut(section, "<details>")
		if got := strings.Count(section, "<tr><td"); got != len(table.Rows) {
			t.Errorf("%s: %d rows on the page, %d in audit.json", table.Identifier, got, len(table.Rows))
		}
		if n := strings.Count(rest, "<tr><td"); n > 0 {
			folded++
			if !strings.Contains(shown, fmt.Sprintf("%d further row", n)) {
				t.Errorf("%s: %d rows are folded away and not told: %s", table.Identifier, n, shown)
			}
		}
	}
	if folded == 0 {
		t.Error("no row was folded away")
	}
}

// An estimate that there is none of has no interval either.
func TestNoEstimateHasNoInterval(t *testing.T) {
	r := labReport(t, "x")
	none := table.Table{Identifier: "none", Title: "None", Columns: []table.Column{{Identifier: "a", Title: "A", Kind: table.Words}, {Identifier: "b", Title: "B", Kind: table.Estimate}}}
	none.Rows = [][]table.Cell{{table.TextCell("x"), table.NoCell()}}
	r.Tables = append(r.Tables, none)
	dir := t.TempDir()
	if _, err := auditwriter.AuditSet(dir, r, pdfpage.A4); err != nil {
		t.Fatal(err)
	}
	if rows := readCSV(t, filepath.Join(dir, "none.csv")); !slices.Equal(rows[1], []string{"x", "", "", ""}) {
		t.Errorf("%q", rows[1])
	}
}
