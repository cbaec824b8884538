package auditwriter_test

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
)

// LibreOffice opens the workbook as it is and reads, from every sheet, the words
// and figures that audit.json holds; what begins like a formula stays words.
func TestLibreOfficeOpensTheWorkbook(t *testing.T) {
	office, err := exec.LookPath("soffice")
	if err != nil {
		t.Skip("LibreOffice is not installed (Debian: libreoffice-calc-nogui): the workbook was not opened by it")
	}
	dir, out := auditSet(t, "x"), t.TempDir()
	// All sheets, comma, UTF-8, values rather than how they are shown, no formulas.
	cmd := exec.Command(office, "-env:UserInstallation=file://"+out+"/profile", "--headless", "--convert-to",
		"csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,false,false,false,false,-1", "--outdir", out, filepath.Join(dir, "audit.xlsx"))
	if text, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, text)
	}
	tables := auditTables(t, dir)
	if sheets, _ := filepath.Glob(filepath.Join(out, "audit-*.csv")); len(sheets) != len(tables)+2 {
		t.Errorf("LibreOffice reads %d sheets, %d tables, a cover and a dictionary were written", len(sheets), len(tables))
	}
	formulas, cells := 0, 0
	for _, table := range tables {
		sheet := readCSV(t, filepath.Join(out, "audit-"+table.Identifier+".csv"))
		if len(sheet) != len(table.Rows)+1 {
			t.Errorf("%s: LibreOffice reads %d rows, %d were written", table.Identifier, len(sheet), len(table.Rows)+1)
			continue
		}
		for k, c := range table.Columns {
			if sheet[0][k] != c.Title {
				t.Errorf("%s: LibreOffice reads the head %q, %q was written", table.Identifier, sheet[0][k], c.Title)
			}
		}
		for i, row := range table.Rows {
			for k, want := range row {
				if got := sheet[i+1][k]; !sameCell(got, want) {
					t.Errorf("%s row %d, %s: LibreOffice reads %q, %v was written", table.Identifier, i+1, table.Columns[k].Title, got, want)
				}
				if text, ok := want.(string); ok && text != "" && (text[0] == '=' || text[0] == '+' || text[0] == '@') {
					formulas++
				}
				cells++
			}
		}
	}
	if formulas == 0 || cells < 500 {
		t.Errorf("%d cells compared, %d of them like formulas: too few to tell anything", cells, formulas)
	}
}

// jsonTable is a table of audit.json.
type jsonTable struct {
	Identifier string `json:"identifier"`
	Columns    []struct {
		Title string `json:"title"`
	} `json:"columns"`
	Rows [][]any `json:"rows"`
}

func auditTables(t *testing.T, dir string) []jsonTable {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, "audit.json"))
	if err != nil {
		t.Fatal(err)
	}
	var document struct {
		Tables []jsonTable `json:"tables"`
	}
	if err := json.Unmarshal(b, &document); err != nil {
		t.Fatal(err)
	}
	return document.Tables
}

// sameCell compares what a spreadsheet reads with what was written, numbers as
// far as a spreadsheet keeps them (15 figures).
func sameCell(got string, want any) bool {
	switch want := want.(type) {
	case nil:
		return got == ""
	case float64:
		x, err := strconv.ParseFloat(got, 64)
		return err == nil && math.Abs(x-want) <= 1e-12*math.Max(1, math.Abs(want))
	}
	return got == fmt.Sprint(want)
}
