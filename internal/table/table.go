// Package table owns the table of figures: columns with their meaning, cells with
// intervals or the reason why they are withheld, the same in every format.
package table

import (
	"fmt"
	"math"
	"strings"
	"time"

	"echotally/internal/stats"
)

// Table is one table of the report, the same in every format.
type Table struct {
	Identifier string
	Title      string
	Note       string // how to read it: what is counted, by which method
	Columns    []Column
	Rows       [][]Cell
	Unprinted  bool // rows for programs and the workbook, too many to be read on paper

	plain      map[int]bool // rows in which nothing is remarkable
	PlainMeans string       // what these have in common
}

// Split parts the rows to be read from those in which nothing is remarkable,
// which print leaves out and the other formats have all the same.
func (t Table) Split() (shown, plain Table) {
	shown, plain = t, t
	shown.Rows, plain.Rows = nil, nil
	for i, row := range t.Rows {
		if t.plain[i] {
			plain.Rows = append(plain.Rows, row)
		} else {
			shown.Rows = append(shown.Rows, row)
		}
	}
	return shown, plain
}

// Column is one column with its meaning, which is also the data dictionary.
type Column struct {
	Identifier string
	Title      string
	Kind       Kind
	Meaning    string
	Machine    bool // an identifier or a detail that print leaves out, since words beside it say it
}

// Kind says what the cells of a column hold.
type Kind string

// Kinds of column.
const (
	Words  Kind = "words"
	Count  Kind = "count"
	Number Kind = "number"
	Share  Kind = "share" // a count out of a total with its Wilson interval

	Estimate Kind = "estimate" // a number with its interval
)

// Cell is one cell. Withheld tells why there is nothing to read; such a cell
// has no value in any format.
type Cell struct {
	Text     string
	Count    int
	Number   float64        // NaN for none
	Between  stats.Interval // of an estimate
	Share    stats.Proportion
	Withheld string
}

// Confidence is the level of every interval.
const Confidence = 0.95

// Interval is the Wilson interval of a share.
func (c Cell) Interval() stats.Interval { return c.Share.Wilson(Confidence) }

// WithheldCell is a cell that says why there is nothing to read.
func WithheldCell(why string) Cell { return Cell{Withheld: why, Number: math.NaN()} }

// ProportionCell holds x of n.
func ProportionCell(x, n int) Cell { return ShareCell(stats.Proportion{Count: x, Total: n}) }

// AddPlainIf adds a row that is plain where nothing about it is remarkable.
func (t *Table) AddPlainIf(plain bool, cells ...Cell) {
	if plain {
		if t.plain == nil {
			t.plain = map[int]bool{}
		}
		t.plain[len(t.Rows)] = true
	}
	t.Add(cells...)
}

// AddPlain adds a row in which nothing is remarkable.
func (t *Table) AddPlain(cells ...Cell) { t.AddPlainIf(true, cells...) }

// NewColumn is a column that all formats show.
func NewColumn(id, title string, k Kind, meaning string) Column {
	return Column{Identifier: id, Title: title, Kind: k, Meaning: meaning}
}

// MachineColumn is a column that print leaves out.
func MachineColumn(id, title string, k Kind, meaning string) Column {
	out := NewColumn(id, title, k, meaning)
	out.Machine = true
	return out
}

// InWords makes an identifier a phrase.
func InWords(identifier string) string {
	if identifier == "" {
		return ""
	}
	words := strings.ReplaceAll(identifier, "-", " ")
	return strings.ToUpper(words[:1]) + words[1:]
}

// Percent writes a share as "84.2 % (101/120)".
func Percent(p stats.Proportion) string {
	if p.Total == 0 {
		return "no data"
	}
	return fmt.Sprintf("%s (%d/%d)", Rate(p.Value()), p.Count, p.Total)
}

// Rate writes a share of one as "84.2 %".
func Rate(x float64) string { return fmt.Sprintf("%.1f %%", 100*x) }

// TextCell holds words.
func TextCell(s string) Cell { return Cell{Text: s} }

// DateCell holds a date, nothing for none.
func DateCell(t time.Time) Cell {
	if t.IsZero() {
		return TextCell("")
	}
	return TextCell(t.Format(time.DateOnly))
}

// CountCell holds a count.
func CountCell(n int) Cell { return Cell{Count: n} }

// NumberCell holds a number, none when it is NaN.
func NumberCell(x float64) Cell { return Cell{Number: x} }

// EstimateCell holds a number with its interval, none when it is NaN.
func EstimateCell(x float64, between stats.Interval) Cell {
	return Cell{Number: x, Between: between}
}

// NoCell holds nothing.
func NoCell() Cell { return Cell{Number: math.NaN()} }

// ShareCell holds a share.
func ShareCell(p stats.Proportion) Cell { return Cell{Share: p} }

// Add adds a row.
func (t *Table) Add(cells ...Cell) { t.Rows = append(t.Rows, cells) }
