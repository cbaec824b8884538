package review

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"
)

// columns of a worksheet as a table, in their order.
func columns() []string {
	return []string{"draw", "case", "study", "date", "item", "title", "how", "unit", "scale", "value"}
}

func (r Row) cells() []string {
	return []string{strconv.Itoa(r.Draw), strconv.Itoa(r.Case), r.Study, r.Date, r.Item, r.Title, r.How, r.Unit, strings.Join(r.Scale, ", "), r.Value}
}

// WriteCSV writes the rows as CSV. Cells that a spreadsheet would take for a
// formula cannot occur: all but the value come from the rules and the ledger.
func WriteCSV(w io.Writer, rows []Row) error {
	out := csv.NewWriter(w)
	if err := out.Write(columns()); err != nil {
		return err
	}
	for _, r := range rows {
		if err := out.Write(r.cells()); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// WriteXLSX writes the rows as a workbook to fill in: the column value is marked,
// a grade is chosen from its scale.
func WriteXLSX(w io.Writer, rows []Row) error {
	f := excelize.NewFile()
	defer f.Close()
	const sheet = "cases"
	if err := f.SetSheetName("Sheet1", sheet); err != nil {
		return err
	}
	head, err := f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}, Border: []excelize.Border{{Type: "bottom", Color: "111111", Style: 2}}})
	if err != nil {
		return err
	}
	open, err := f.NewStyle(&excelize.Style{Border: []excelize.Border{{Type: "bottom", Color: "111111", Style: 1}, {Type: "left", Color: "111111", Style: 1}, {Type: "right", Color: "111111", Style: 1}}})
	if err != nil {
		return err
	}
	if err := f.SetSheetRow(sheet, "A1", ptr(columns())); err != nil {
		return err
	}
	for i, r := range rows {
		cells := []any{r.Draw, r.Case}
		for _, c := range r.cells()[2:] {
			cells = append(cells, c)
		}
		if err := f.SetSheetRow(sheet, fmt.Sprintf("A%d", i+2), &cells); err != nil {
			return err
		}
		if len(r.Scale) == 0 {
			continue
		}
		choice := excelize.NewDataValidation(true)
		choice.Sqref = fmt.Sprintf("J%d", i+2)
		if err := choice.SetDropList(append(slices.Clone(r.Scale), NotMeasurable)); err != nil {
			return err
		}
		if err := f.AddDataValidation(sheet, choice); err != nil {
			return err
		}
	}
	widths := map[string]float64{"A": 6, "B": 6, "C": 24, "D": 11, "E": 30, "F": 40, "G": 44, "H": 8, "I": 40, "J": 16}
	for column, width := range widths {
		if err := f.SetColWidth(sheet, column, column, width); err != nil {
			return err
		}
	}
	err = errors.Join(
		f.SetCellStyle(sheet, "A1", "J1", head),
		f.SetCellStyle(sheet, "J2", fmt.Sprintf("J%d", len(rows)+1), open),
		f.SetPanes(sheet, &excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}),
	)
	if err != nil {
		return err
	}
	return f.Write(w)
}

func ptr[T any](x T) *T { return &x }

// WriteJSON writes the rows as JSON.
func WriteJSON(w io.Writer, rows []Row) error {
	out := json.NewEncoder(w)
	out.SetIndent("", "  ")
	return out.Encode(rows)
}

// ReadSheet reads a worksheet that was filled in, by what its bytes are: a
// workbook, JSON, or CSV with comma, semicolon or tab.
func ReadSheet(src []byte) ([]Row, error) {
	trimmed := bytes.TrimLeft(bytes.TrimPrefix(src, []byte("\xEF\xBB\xBF")), " \t\r\n")
	switch {
	case bytes.HasPrefix(src, []byte("PK")):
		return readXLSX(src)
	case bytes.HasPrefix(trimmed, []byte("[")):
		var rows []Row
		if err := json.Unmarshal(trimmed, &rows); err != nil {
			return nil, fmt.Errorf("worksheet: not the JSON that review sheet writes: %w", err)
		}
		return rows, nil
	}
	return readCSV(trimmed)
}

func readCSV(src []byte) ([]Row, error) {
	c := csv.NewReader(bytes.NewReader(src))
	c.FieldsPerRecord = -1
	first, _, _ := bytes.Cut(src, []byte("\n"))
	for _, comma := range ";\t" {
		if bytes.Count(first, []byte(",")) < bytes.Count(first, []byte(string(comma))) {
			c.Comma = comma
		}
	}
	lines, err := c.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("worksheet: %w", err)
	}
	return rowsOf(lines)
}

// bounds of a workbook that is read back.
const (
	mostUnzipped = 64 << 20
	mostRows     = 100_000
)

func readXLSX(src []byte) ([]Row, error) {
	f, err := excelize.OpenReader(bytes.NewReader(src), excelize.Options{UnzipSizeLimit: mostUnzipped, UnzipXMLSizeLimit: mostUnzipped})
	if err != nil {
		return nil, errors.New("worksheet: not a workbook that can be read")
	}
	defer f.Close()
	lines, err := f.GetRows(f.GetSheetName(0), excelize.Options{RawCellValue: true})
	if err != nil {
		return nil, errors.New("worksheet: its first sheet cannot be read")
	}
	return rowsOf(lines)
}

// rowsOf reads the lines of a table; the first names the columns, in any order.
func rowsOf(lines [][]string) ([]Row, error) {
	if len(lines) == 0 || len(lines) > mostRows {
		return nil, fmt.Errorf("worksheet: %d lines", len(lines))
	}
	at := map[string]int{}
	for i, name := range lines[0] {
		at[strings.ToLower(strings.TrimSpace(name))] = i
	}
	for _, name := range []string{"draw", "case", "item", "value"} {
		if _, ok := at[name]; !ok {
			return nil, fmt.Errorf("worksheet: no column %q in the first line", name)
		}
	}
	var out []Row
	for _, line := range lines[1:] {
		cell := func(name string) string {
			if i, ok := at[name]; ok && i < len(line) {
				return strings.TrimSpace(line[i])
			}
			return ""
		}
		// What is no number is no draw and no case; the row is told then.
		draw, _ := strconv.Atoi(cell("draw"))
		number, _ := strconv.Atoi(cell("case"))
		out = append(out, Row{Draw: draw, Case: number, Study: cell("study"), Item: cell("item"), Value: cell("value")})
	}
	return out, nil
}

// number reads a finite number with a point or a comma.
func number(text string) (float64, error) {
	x, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
	if err == nil && (math.IsNaN(x) || math.IsInf(x, 0)) {
		err = strconv.ErrRange
	}
	return x, err
}
