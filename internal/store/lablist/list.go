// Package lablist owns the lists that a lab makes of what DICOM does not carry: which
// columns each kind has, how its rows are read, and what is wrong with one. What a row
// says is kept by the ledger.
package lablist

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"echotally/internal/printable"
	"echotally/internal/store/fault"
)

// Kind is a kind of list the lab makes of what DICOM does not carry.
type Kind string

// Kinds of lists.
const (
	Roster  Kind = "roster"
	Signoff Kind = "signoff"
	Labs    Kind = "labs"

	Correlation     Kind = "correlation"
	Appropriateness Kind = "appropriateness"
)

// Column is a column of a list.
type Column struct {
	Name     string
	Required bool
	Meaning  string
}

// Columns is the contract of a kind of list: the columns, in any order, named
// in the first line.
func Columns(kind Kind) []Column {
	return map[Kind][]Column{
		Roster: {
			{"name", true, "person's name as in the reports; only its pseudonym is kept"},
			{"role", true, "sonographer, reader or trainee"},
		},
		Signoff: {
			{"study", false, "Study Instance UID; this or the accession"},
			{"accession", false, "accession number; only a keyed hash is kept"},
			{"ended", false, "end of the study, 2026-10-31T14:05 or with seconds and offset"},
			{"read", false, "when it was read"},
			{"signed", false, "when the report was signed"},
			{"setting", false, "inpatient, outpatient, urgent or emergency"},
		},
		Labs: {
			{"station", true, "station name as in the reports"},
			{"lab", true, "the lab it belongs to"},
			{"site", true, "where it stands"},
			{"timezone", true, "IANA name, such as Europe/Berlin, for times without offset"},
		},
		Correlation: {
			{"study", false, "Study Instance UID; this or the accession, of either only a keyed hash is kept"},
			{"accession", false, "accession number of the echo study"},
			{"measurand", true, "what was measured, by its identifier, such as aortic-valve-mean-gradient"},
			{"test", true, "the other test: " + strings.Join(OtherTests, ", ")},
			{"value", true, "what it found, such as 42"},
			{"unit", true, "its unit in UCUM, such as mm[Hg]"},
			{"date", true, "day of the other test, 2026-10-31"},
		},
		Appropriateness: {
			{"study", false, "Study Instance UID; this or the accession, of either only a keyed hash is kept"},
			{"accession", false, "accession number"},
			{"class", true, "what the reviewer chose: " + strings.Join(Appropriatenesses, ", ")},
		},
	}[kind]
}

// OtherTests are the tests that echo findings are compared with.
var OtherTests = []string{"catheter", "magnetic-resonance", "computed-tomography", "nuclear", "surgery", "other-echo"}

// Appropriatenesses are the classes of requests, the best first (Hendel RC et al.
// J Am Coll Cardiol 2013;61:1305-1317, from memory).
var Appropriatenesses = []string{"appropriate", "may-be-appropriate", "rarely-appropriate"}

// Fault is what is wrong with a row of a list. It does not repeat the cell.
type Fault struct {
	Line                 int
	Column, Reason, Hint string
}

func (f Fault) String() string {
	out := fmt.Sprintf("%d: ", f.Line)
	if f.Column != "" {
		out += f.Column + ": "
	}
	out += f.Reason
	if f.Hint != "" {
		out += " (hint: " + f.Hint + ")"
	}
	return out
}

// Row is one row by column.
type Row struct {
	Line  int
	Cells map[string]string
}

// List is what could be read of a list.
type List struct {
	Rows   []Row
	Faults []Fault // of the rows that are not among them
}

// Read reads the rows of a list. A comma, a semicolon or a tab separates the columns,
// as the first line tells; where that is not one the kind needs, the error says so.
func Read(kind Kind, r io.Reader) (*List, error) {
	out := &List{}
	buffered := bufio.NewReader(r)
	if bom, _ := buffered.Peek(3); bytes.Equal(bom, []byte("\xEF\xBB\xBF")) {
		_, _ = buffered.Discard(3) // three bytes that were just seen
	}
	heading, _ := buffered.Peek(buffered.Size())
	heading, _, _ = bytes.Cut(heading, []byte("\n"))
	c := csv.NewReader(buffered)
	c.FieldsPerRecord, c.TrimLeadingSpace = -1, true
	for _, comma := range ";\t" {
		if !bytes.ContainsRune(heading, ',') && bytes.ContainsRune(heading, comma) {
			c.Comma = comma
		}
	}
	names, err := c.Read()
	if err != nil {
		return nil, &fault.Error{Doing: "take in " + string(kind), Reason: "the list has no first line with the names of the columns", Hint: "echotally intake --help tells the columns"}
	}
	if err := out.checkNames(kind, names); err != nil {
		return nil, err
	}
	for {
		cells, err := c.Read()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			var parse *csv.ParseError
			if !errors.As(err, &parse) {
				return nil, &fault.Error{Doing: "take in " + string(kind), Reason: fault.Reason(err), Cause: err}
			}
			out.Faults = append(out.Faults, Fault{Line: parse.StartLine, Reason: "not a row of CSV: " + parse.Err.Error()})
			continue
		}
		line, _ := c.FieldPos(0)
		if len(cells) != len(names) {
			out.Faults = append(out.Faults, Fault{Line: line, Reason: fmt.Sprintf("%d cells where the first line names %d columns", len(cells), len(names))})
			continue
		}
		row := Row{line, map[string]string{}}
		for i, n := range names {
			row.Cells[n] = strings.TrimSpace(cells[i])
		}
		if lacking := row.lacks(kind); lacking != nil {
			out.Faults = append(out.Faults, *lacking)
			continue
		}
		out.Rows = append(out.Rows, row)
	}
}

// checkNames tidies the names of the columns and refuses a list that lacks one
// it needs.
func (out *List) checkNames(kind Kind, names []string) error {
	columns := Columns(kind)
	for i := range names {
		names[i] = strings.ToLower(strings.TrimSpace(names[i]))
		if !slices.ContainsFunc(columns, func(c Column) bool { return c.Name == names[i] }) {
			out.Faults = append(out.Faults, Fault{Line: 1, Reason: fmt.Sprintf("column %d is not known and not read", i+1), Hint: "echotally intake --help tells the columns"})
		}
	}
	for _, c := range columns {
		if c.Required && !slices.Contains(names, c.Name) {
			return &fault.Error{Doing: "take in " + string(kind), Reason: "the list has no column " + c.Name, Hint: "echotally intake --help tells the columns"}
		}
	}
	return nil
}

// lacks says what is missing, or stands where it may not.
func (row Row) lacks(kind Kind) *Fault {
	for _, c := range Columns(kind) {
		if c.Required && row.Cells[c.Name] == "" {
			return &Fault{Line: row.Line, Column: c.Name, Reason: "empty", Hint: c.Meaning}
		}
		if strings.ContainsFunc(row.Cells[c.Name], printable.Unsafe) {
			return &Fault{Line: row.Line, Column: c.Name, Reason: "a control character or the end of a line", Hint: "take it out"}
		}
	}
	return nil
}
