// Package record owns a table as programs read it: shares and estimates in their
// parts, a CSV file per table, a dictionary of all columns.
package record

import (
	"encoding/csv"
	"io"
	"math"
	"strconv"

	"echotally/internal/layout"
	"echotally/internal/table"
)

// shareParts are the columns a share becomes in machine formats.
var shareParts = []struct{ suffix, meaning string }{
	{"count", "studies or items met"}, {"total", "of so many"}, {"percent", "share in per cent"},
	{"low", "lower end of the Wilson interval, 95 %, per cent"}, {"high", "upper end of the Wilson interval, 95 %, per cent"},
}

// Columns are the columns of a table as machines get them: a share and an
// estimate in their parts.
func Columns(t table.Table) []table.Column {
	var out []table.Column
	for _, c := range t.Columns {
		switch c.Kind {
		case table.Share:
			for i, p := range shareParts {
				kind := table.Number
				if i < 2 {
					kind = table.Count
				}
				out = append(out, table.Column{Identifier: c.Identifier + "_" + p.suffix, Title: c.Title + ", " + p.suffix, Kind: kind, Meaning: c.Meaning + "; " + p.meaning})
			}
		case table.Estimate:
			out = append(out, table.Column{Identifier: c.Identifier, Title: c.Title, Kind: table.Number, Meaning: c.Meaning})
			for _, end := range []struct{ suffix, meaning string }{{"low", "lower end of the interval"}, {"high", "upper end of the interval"}} {
				out = append(out, table.Column{Identifier: c.Identifier + "_" + end.suffix, Title: c.Title + ", " + end.suffix, Kind: table.Number, Meaning: c.Meaning + "; " + end.meaning})
			}
		default:
			out = append(out, c)
		}
	}
	return out
}

// Cells are the values of a row: string, int, float64, or nil for none.
func Cells(t table.Table, row []table.Cell) []any {
	var out []any
	for i, c := range t.Columns {
		cell := row[i]
		switch {
		case c.Kind == table.Share && cell.Withheld != "":
			out = append(out, cell.Withheld, nil, nil, nil, nil)
		case c.Kind == table.Share && cell.Share.Total == 0:
			out = append(out, cell.Share.Count, 0, nil, nil, nil)
		case c.Kind == table.Share:
			interval := cell.Interval()
			out = append(out, cell.Share.Count, cell.Share.Total, 100*cell.Share.Value(), 100*interval.Low, 100*interval.High)
		case c.Kind == table.Estimate && cell.Withheld != "":
			out = append(out, cell.Withheld, nil, nil)
		case c.Kind == table.Estimate && math.IsNaN(cell.Number):
			out = append(out, nil, nil, nil)
		case c.Kind == table.Estimate:
			out = append(out, finite(cell.Number), finite(cell.Between.Low), finite(cell.Between.High))
		case cell.Withheld != "":
			out = append(out, cell.Withheld)
		case c.Kind == table.Count:
			out = append(out, cell.Count)
		case c.Kind == table.Number:
			out = append(out, finite(cell.Number))
		default:
			out = append(out, cell.Text)
		}
	}
	return out
}

// finite is the number, nil where there is none.
func finite(x float64) any {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return x
}

// CSV writes one table as CSV.
func CSV(w io.Writer, t table.Table) error {
	out := csv.NewWriter(w)
	var header []string
	for _, c := range Columns(t) {
		header = append(header, c.Identifier)
	}
	if err := layout.Row(out, header...); err != nil {
		return err
	}
	for _, row := range t.Rows {
		var cells []string
		for _, v := range Cells(t, row) {
			cells = append(cells, plainText(v))
		}
		if err := layout.Row(out, cells...); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

func plainText(v any) string {
	switch v := v.(type) {
	case string:
		return v
	case int:
		return strconv.Itoa(v)
	case float64:
		return strconv.FormatFloat(v, 'g', -1, 64)
	}
	return ""
}

// DictionaryCSV explains every column of every table.
func DictionaryCSV(w io.Writer, tables []table.Table) error {
	out := csv.NewWriter(w)
	if err := layout.Row(out, "file", "column", "kind", "title", "meaning"); err != nil {
		return err
	}
	for _, t := range tables {
		for _, c := range Columns(t) {
			if err := layout.Row(out, t.Identifier+".csv", c.Identifier, string(c.Kind), c.Title, c.Meaning); err != nil {
				return err
			}
		}
	}
	out.Flush()
	return out.Error()
}

// Record is a table as machines get it.
type Record struct {
	Identifier string   `json:"identifier"`
	Title      string   `json:"title"`
	Note       string   `json:"note"`
	Columns    []Column `json:"columns"`
	Rows       [][]any  `json:"rows"`
}

// Column is a column of it.
type Column struct {
	Identifier string `json:"identifier"`
	Title      string `json:"title"`
	Kind       string `json:"kind"`
	Meaning    string `json:"meaning"`
}

// Of gives shares and estimates in their parts, and null for what is none.
func Of(t table.Table) Record {
	out := Record{Identifier: t.Identifier, Title: t.Title, Note: t.Note, Rows: [][]any{}}
	for _, c := range Columns(t) {
		out.Columns = append(out.Columns, Column{c.Identifier, c.Title, string(c.Kind), c.Meaning})
	}
	for _, row := range t.Rows {
		out.Rows = append(out.Rows, Cells(t, row))
	}
	return out
}
