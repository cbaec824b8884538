package labaudit

import (
	"math"

	"echotally/internal/stats"
)

// Table is one table of the report, the same in every format.
type Table struct {
	Identifier string
	Title      string
	Note       string // how to read it: what is counted, by which method
	Columns    []Column
	Rows       [][]Cell
}

// Column is one column with its meaning, which is also the data dictionary.
type Column struct {
	Identifier string
	Title      string
	Kind       Kind
	Meaning    string
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

func words(s string) Cell   { return Cell{Text: s} }
func count(n int) Cell      { return Cell{Count: n} }
func number(x float64) Cell { return Cell{Number: x} }
func estimate(x float64, between stats.Interval) Cell {
	return Cell{Number: x, Between: between}
}
func none() Cell                    { return Cell{Number: math.NaN()} }
func share(p stats.Proportion) Cell { return Cell{Share: p} }
func withheld(why string) Cell      { return Cell{Withheld: why, Number: math.NaN()} }
func proportion(x, n int) Cell      { return share(stats.Proportion{Count: x, Total: n}) }
func (t *Table) add(cells ...Cell)  { t.Rows = append(t.Rows, cells) }
func column(id, title string, k Kind, meaning string) Column {
	return Column{id, title, k, meaning}
}
