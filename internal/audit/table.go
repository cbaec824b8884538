package audit

import (
	"math"
	"strings"

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

func withheld(why string) Cell { return Cell{Withheld: why, Number: math.NaN()} }
func proportion(x, n int) Cell { return ShareCell(stats.Proportion{Count: x, Total: n}) }

// addPlain adds a row that is plain where nothing about it is remarkable.
func (t *Table) addPlain(plain bool, cells ...Cell) {
	if plain {
		if t.plain == nil {
			t.plain = map[int]bool{}
		}
		t.plain[len(t.Rows)] = true
	}
	t.Add(cells...)
}

// AddPlain adds a row in which nothing is remarkable.
func (t *Table) AddPlain(cells ...Cell) { t.addPlain(true, cells...) }

func column(id, title string, k Kind, meaning string) Column {
	return Column{Identifier: id, Title: title, Kind: k, Meaning: meaning}
}

// machine is a column that print leaves out.
func machine(id, title string, k Kind, meaning string) Column {
	out := column(id, title, k, meaning)
	out.Machine = true
	return out
}

// inWords makes an identifier a phrase.
func inWords(identifier string) string {
	if identifier == "" {
		return ""
	}
	return capital(strings.ReplaceAll(identifier, "-", " "))
}
