package booklet

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/xuri/excelize/v2"

	"echotally/internal/layout"
	"echotally/internal/printable"
	"echotally/internal/table"
	"echotally/internal/table/record"
)

// Workbook writes a cover with the facts and what stands at the foot of pages, a
// sheet per table, and what the columns mean: numbers as numbers, a frozen header,
// no formula and no macro. Text cells are written as text, which a spreadsheet
// never takes for a formula.
func Workbook(w io.Writer, h Heading, facts [][2]string, tables []table.Table) error {
	f := excelize.NewFile()
	defer f.Close()
	cover := table.Table{Identifier: "About", Title: "About", Columns: []table.Column{{Title: "What", Kind: table.Words}, {Title: "Value", Kind: table.Words}}}
	facts = append(facts, [][2]string{{"Rule set", h.RuleSet}, {"Guideline edition", h.Edition}, {"Software", h.Software}, {"Created", h.Created}, {"Note", layout.Caution}}...)
	for _, fact := range facts {
		cover.Rows = append(cover.Rows, []table.Cell{{Text: fact[0]}, {Text: fact[1]}})
	}
	if err := f.SetSheetName("Sheet1", "About"); err != nil {
		return err
	}
	style, err := f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}, Border: []excelize.Border{{Type: "bottom", Color: "111111", Style: 2}}, Alignment: &excelize.Alignment{WrapText: true, Vertical: "top"}})
	if err != nil {
		return err
	}
	if err := sheetOf(f, "About", cover, style); err != nil {
		return err
	}
	dictionary := table.Table{Identifier: "dictionary", Columns: []table.Column{{Title: "Sheet"}, {Title: "Column"}, {Title: "Kind"}, {Title: "Meaning"}}}
	for _, t := range tables {
		name := sheetName(t.Identifier)
		if _, err := f.NewSheet(name); err != nil {
			return err
		}
		if err := sheetOf(f, name, t, style); err != nil {
			return err
		}
		for _, c := range record.Columns(t) {
			dictionary.Rows = append(dictionary.Rows, []table.Cell{{Text: name}, {Text: c.Title}, {Text: string(c.Kind)}, {Text: c.Meaning}})
		}
	}
	if _, err := f.NewSheet("dictionary"); err != nil {
		return err
	}
	if err := sheetOf(f, "dictionary", dictionary, style); err != nil {
		return err
	}
	f.SetActiveSheet(0)
	if err := f.SetDocProps(&excelize.DocProperties{Title: h.Title, Creator: h.Software, Created: h.Created, Modified: h.Created, Language: "en"}); err != nil {
		return err
	}
	return inOrder(w, f)
}

// contentTypes is the part of a workbook that comes first.
const contentTypes = "[Content_Types].xml"

// inOrder writes the parts of a workbook by name. The library writes sheets in the order of a
// map, which made another file of the same tables each time.
func inOrder(w io.Writer, f *excelize.File) error {
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		return err
	}
	parts, err := zip.NewReader(bytes.NewReader(b.Bytes()), int64(b.Len()))
	if err != nil {
		return err
	}
	slices.SortFunc(parts.File, func(a, b *zip.File) int {
		switch contentTypes {
		case a.Name:
			return -1
		case b.Name:
			return 1
		}
		return strings.Compare(a.Name, b.Name)
	})
	out := zip.NewWriter(w)
	for _, part := range parts.File {
		if err := out.Copy(part); err != nil {
			return err
		}
	}
	return out.Close()
}

// sheetName keeps to the 31 characters of a sheet's name.
func sheetName(identifier string) string {
	if len(identifier) > 31 {
		return identifier[:31]
	}
	return identifier
}

func sheetOf(f *excelize.File, name string, t table.Table, style int) error {
	s, err := f.NewStreamWriter(name)
	if err != nil {
		return err
	}
	columns := record.Columns(t)
	header := make([]any, len(columns))
	for i, c := range columns {
		width := 12.0
		if c.Kind == table.Words || c.Kind == "" {
			width = 34
		}
		if err := s.SetColWidth(i+1, i+1, width); err != nil {
			return err
		}
		header[i] = excelize.Cell{StyleID: style, Value: c.Title}
	}
	if err := s.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return err
	}
	if err := s.SetRow("A1", header); err != nil {
		return err
	}
	for i, row := range t.Rows {
		cells := record.Cells(t, row)
		for k, c := range cells {
			if text, ok := c.(string); ok {
				cells[k] = printable.Text(text)
			}
		}
		if err := s.SetRow(fmt.Sprintf("A%d", i+2), cells); err != nil {
			return err
		}
	}
	return s.Flush()
}
