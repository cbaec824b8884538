// Package words owns a table as people read it: every cell in words, without the
// columns that are left out of print.
package words

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"echotally/internal/stats"
	"echotally/internal/table"
)

// Words is a table in words, as page and print show it.
type Words struct {
	Identifier, Title, Note string
	Columns                 []table.Column
	Rows                    [][]string
	Plain                   [][]string // rows in which nothing is remarkable
	PlainMeans              string
	Unprinted               int // rows that only the other formats have
}

// WordsOf puts a table into words, without the columns left out of print.
func WordsOf(t table.Table) Words {
	t = Printed(t)
	if t.Unprinted {
		return Words{Identifier: t.Identifier, Title: t.Title, Note: t.Note, Unprinted: len(t.Rows)}
	}
	shown, plain := t.Split()
	return Words{t.Identifier, t.Title, t.Note, t.Columns, rowsOf(shown), rowsOf(plain), t.PlainMeans, 0}
}

// Rest says how many rows are left out, "" for none.
func (t Words) Rest() string {
	if t.Unprinted > 0 {
		return fmt.Sprintf("%d rows: in the workbook and in %s.csv.", t.Unprinted, t.Identifier)
	}
	switch n := len(t.Plain); n {
	case 0:
		return ""
	case 1:
		return fmt.Sprintf("1 further row, %s: in the workbook and in %s.csv.", t.PlainMeans, t.Identifier)
	default:
		return fmt.Sprintf("%d further rows, %s: in the workbook and in %s.csv.", n, t.PlainMeans, t.Identifier)
	}
}

// OfPlain is the table of the rows left out.
func (t Words) OfPlain() Words {
	t.Rows, t.Plain = t.Plain, nil
	return t
}

// Count is the number of all rows.
func (t Words) Count() int { return len(t.Rows) + len(t.Plain) + t.Unprinted }

// Printed is the table without the columns left out of print. Rows that are
// plain stay so.
func Printed(t table.Table) table.Table {
	out := t
	out.Columns, out.Rows = nil, make([][]table.Cell, len(t.Rows))
	for i, c := range t.Columns {
		if c.Machine {
			continue
		}
		out.Columns = append(out.Columns, c)
		for k, row := range t.Rows {
			out.Rows[k] = append(out.Rows[k], row[i])
		}
	}
	return out
}

func rowsOf(t table.Table) [][]string {
	var out [][]string
	for _, row := range t.Rows {
		var cells []string
		for i, c := range row {
			text := cellText(t.Columns[i].Kind, c)
			if t.Columns[i].Kind == table.Estimate && c.Withheld == "" {
				// An interval stays whole behind its estimate.
				if estimate, between, ok := strings.Cut(text, " ("); ok {
					text = estimate + " (" + whole(between)
				}
			}
			if t.Columns[i].Kind == table.Share && c.Withheld == "" {
				// Share and interval stay whole where a cell breaks.
				text = whole(text)
				if between := IntervalText(c.Share); between != "" {
					text += ", " + whole(between)
				}
			}
			cells = append(cells, text)
		}
		out = append(out, cells)
	}
	return out
}

// whole is a text that does not break.
func whole(text string) string { return strings.ReplaceAll(text, " ", "\u00A0") }

// cellText is a cell as people read it.
func cellText(kind table.Kind, c table.Cell) string {
	if c.Withheld != "" {
		return c.Withheld
	}
	switch kind {
	case table.Count:
		return strconv.Itoa(c.Count)
	case table.Number:
		return NumberText(c.Number)
	case table.Share:
		return table.Percent(c.Share)
	case table.Estimate:
		if math.IsNaN(c.Number) {
			return ""
		}
		if endless(c.Between.Low) || endless(c.Between.High) {
			return estimateText(c.Number)
		}
		return fmt.Sprintf("%s (%s to %s)", estimateText(c.Number), estimateText(c.Between.Low), estimateText(c.Between.High))
	}
	return c.Text
}

// IntervalText is the interval of a share, "" where nothing was counted.
func IntervalText(p stats.Proportion) string {
	if p.Total == 0 {
		return ""
	}
	i := p.Wilson(table.Confidence)
	return fmt.Sprintf("%.1f to %.1f %%", 100*i.Low, 100*i.High)
}

// NumberText shows about three figures; what is too small for that as a bound.
func NumberText(x float64) string {
	switch {
	case math.IsNaN(x):
		return ""
	case x != 0 && math.Abs(x) < 0.0001:
		return "< 0.0001"
	case math.Abs(x) < 1:
		return strconv.FormatFloat(x, 'g', 2, 64)
	case math.Abs(x) < 100:
		return strconv.FormatFloat(x, 'f', 1, 64)
	}
	return strconv.FormatFloat(x, 'f', 0, 64)
}

// estimateText shows about three figures of either sign.
func estimateText(x float64) string {
	text := NumberText(math.Abs(x))
	if x < 0 && math.Abs(x) >= 0.0001 {
		return "−" + text
	}
	return text
}

func endless(x float64) bool { return math.IsNaN(x) || math.IsInf(x, 0) }
