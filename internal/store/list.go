package store

import (
	"bufio"
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
	_ "time/tzdata" // the lab's machine may have no table of time zones

	"echotally/internal/printable"
	"echotally/internal/store/fault"
)

// ListKind is a kind of list the lab makes of what DICOM does not carry.
type ListKind string

// Kinds of lists.
const (
	Roster  ListKind = "roster"
	Signoff ListKind = "signoff"
	Labs    ListKind = "labs"

	Correlation     ListKind = "correlation"
	Appropriateness ListKind = "appropriateness"
)

// ListColumn is a column of a list.
type ListColumn struct {
	Name     string
	Required bool
	Meaning  string
}

// Columns is the contract of a kind of list: the columns, in any order, named
// in the first line.
func Columns(kind ListKind) []ListColumn {
	return map[ListKind][]ListColumn{
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

var (
	staffRoles = []string{"sonographer", "reader", "trainee"}
	settings   = []string{"inpatient", "outpatient", "urgent", "emergency"}
)

// RowFault is what is wrong with a row of a list. It does not repeat the cell.
type RowFault struct {
	Line                 int
	Column, Reason, Hint string
}

func (f RowFault) String() string {
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

// ListReceipt says what taking in a list came to.
type ListReceipt struct {
	Rows, Changed int // good rows, and those that said something new
	Faults        []RowFault
}

// listRow is one row by column.
type listRow struct {
	line  int
	cells map[string]string
}

// Import takes in a list. Good rows are kept, whatever is wrong with others; an
// error means that nothing was.
//
// Each check says what is wrong with the cells of a row that the ledger itself
// cannot know; nil for nothing.
func (s *Store) Import(ctx context.Context, kind ListKind, r io.Reader, checks ...func(cells map[string]string) *RowFault) (*ListReceipt, error) {
	if s.key == nil {
		return nil, errNoKey
	}
	out := &ListReceipt{}
	rows, err := out.read(kind, r)
	if err != nil {
		return nil, err
	}
	take := map[ListKind]func(*tx, listRow) (bool, *RowFault, error){Roster: s.takeStaff, Signoff: s.takeStamp, Labs: takeStation,
		Correlation: s.takeOutside(Correlation), Appropriateness: s.takeOutside(Appropriateness)}[kind]
	err = s.write(ctx, "take in "+string(kind), func(t *tx) error {
		for _, row := range rows {
			if fault := row.checked(checks); fault != nil {
				out.Faults = append(out.Faults, *fault)
				continue
			}
			changed, fault, err := take(t, row)
			switch {
			case err != nil:
				return err
			case fault != nil:
				fault.Line = row.line
				out.Faults = append(out.Faults, *fault)
				continue
			}
			out.Rows++
			out.Changed += boolBit(changed)
		}
		if len(t.touched) == 0 {
			return nil
		}
		return t.event("", "listed", map[string]string{"list": string(kind)})
	})
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(out.Faults, func(a, b RowFault) int { return a.Line - b.Line })
	return out, nil
}

// read reads the rows. A comma, a semicolon or a tab separates the columns, as
// the first line tells.
func (out *ListReceipt) read(kind ListKind, r io.Reader) ([]listRow, error) {
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
	var rows []listRow
	for {
		cells, err := c.Read()
		if errors.Is(err, io.EOF) {
			return rows, nil
		}
		if err != nil {
			var parse *csv.ParseError
			if !errors.As(err, &parse) {
				return nil, &fault.Error{Doing: "take in " + string(kind), Reason: fault.Reason(err), Cause: err}
			}
			out.Faults = append(out.Faults, RowFault{Line: parse.StartLine, Reason: "not a row of CSV: " + parse.Err.Error()})
			continue
		}
		line, _ := c.FieldPos(0)
		if len(cells) != len(names) {
			out.Faults = append(out.Faults, RowFault{Line: line, Reason: fmt.Sprintf("%d cells where the first line names %d columns", len(cells), len(names))})
			continue
		}
		row := listRow{line, map[string]string{}}
		for i, n := range names {
			row.cells[n] = strings.TrimSpace(cells[i])
		}
		if fault := row.lacks(kind); fault != nil {
			out.Faults = append(out.Faults, *fault)
			continue
		}
		rows = append(rows, row)
	}
}

// checkNames tidies the names of the columns and refuses a list that lacks one
// it needs.
func (out *ListReceipt) checkNames(kind ListKind, names []string) error {
	columns := Columns(kind)
	for i := range names {
		names[i] = strings.ToLower(strings.TrimSpace(names[i]))
		if !slices.ContainsFunc(columns, func(c ListColumn) bool { return c.Name == names[i] }) {
			out.Faults = append(out.Faults, RowFault{Line: 1, Reason: fmt.Sprintf("column %d is not known and not read", i+1), Hint: "echotally intake --help tells the columns"})
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
func (row listRow) lacks(kind ListKind) *RowFault {
	for _, c := range Columns(kind) {
		if c.Required && row.cells[c.Name] == "" {
			return &RowFault{Line: row.line, Column: c.Name, Reason: "empty", Hint: c.Meaning}
		}
		if strings.ContainsFunc(row.cells[c.Name], printable.Unsafe) {
			return &RowFault{Line: row.line, Column: c.Name, Reason: "a control character or the end of a line", Hint: "take it out"}
		}
	}
	return nil
}

func (row listRow) checked(checks []func(map[string]string) *RowFault) *RowFault {
	for _, check := range checks {
		if fault := check(row.cells); fault != nil {
			fault.Line = row.line
			return fault
		}
	}
	return nil
}

func (s *Store) takeStaff(t *tx, row listRow) (bool, *RowFault, error) {
	role := strings.ToLower(row.cells["role"])
	pseudonym := s.key.Pseudonym(row.cells["name"])
	switch {
	case pseudonym == "":
		return false, &RowFault{Column: "name", Reason: "holds no letter", Hint: "the name as in the reports"}, nil
	case !slices.Contains(staffRoles, role):
		return false, &RowFault{Column: "role", Reason: "not a role", Hint: "one of " + strings.Join(staffRoles, ", ")}, nil
	}
	same, err := t.integer(sqlSameStaff, pseudonym, role)
	if err != nil || same > 0 {
		return false, nil, err
	}
	t.touch("staff", pseudonym)
	return true, nil, t.run(sqlSetStaff, pseudonym, role)
}

func takeStation(t *tx, row listRow) (bool, *RowFault, error) {
	c := row.cells
	if _, err := time.LoadLocation(c["timezone"]); err != nil || c["timezone"] == "Local" {
		return false, &RowFault{Column: "timezone", Reason: "not a time zone", Hint: "an IANA name, such as Europe/Berlin"}, nil
	}
	same, err := t.integer(sqlSameStation, c["station"], c["lab"], c["site"], c["timezone"])
	if err != nil || same > 0 {
		return false, nil, err
	}
	t.touch("station", c["station"])
	return true, nil, t.run(sqlSetStation, c["station"], c["lab"], c["site"], c["timezone"])
}

func (s *Store) takeStamp(t *tx, row listRow) (bool, *RowFault, error) {
	c := row.cells
	if fault := checkStamp(c); fault != nil {
		return false, fault, nil
	}
	uid, lookup := c["study"], s.key.Lookup(c["accession"])
	if uid == "" {
		if _, err := t.row(sqlOfAccession, []any{lookup}, &uid); err != nil {
			return false, nil, err
		}
	}
	setting := strings.ToLower(c["setting"])
	same, err := t.integer(sqlSameStamp, uid, lookup, setting, c["ended"], c["read"], c["signed"])
	if err != nil || same > 0 {
		return false, nil, err
	}
	id, err := t.insert(sqlAddStamp, uid, lookup, setting, c["ended"], c["read"], c["signed"], t.now)
	t.touch("stamp", id)
	return true, nil, err
}

// checkWhich tells whether a row says which study it is of.
func checkWhich(c map[string]string) *RowFault {
	if c["study"] == "" && c["accession"] == "" {
		return &RowFault{Column: "study", Reason: "neither study nor accession is given", Hint: "one of them tells which study it is"}
	}
	if strings.Trim(c["study"], "0123456789.") != "" {
		return &RowFault{Column: "study", Reason: "not a Study Instance UID", Hint: "digits and dots; an accession number has a column of its own"}
	}
	return nil
}

func checkStamp(c map[string]string) *RowFault {
	if fault := checkWhich(c); fault != nil {
		return fault
	}
	if set := strings.ToLower(c["setting"]); set != "" && !slices.Contains(settings, set) {
		return &RowFault{Column: "setting", Reason: "not a setting", Hint: "one of " + strings.Join(settings, ", ")}
	}
	var last time.Time
	lastName, lastZoned := "", false
	for _, name := range []string{"ended", "read", "signed"} {
		if c[name] == "" {
			continue
		}
		moment, zoned, err := parseMoment(c[name], nil)
		if err != nil {
			return &RowFault{Column: name, Reason: "not a time", Hint: "write 2026-10-31T14:05, with seconds and offset where known"}
		}
		if zoned == lastZoned && moment.Before(last) { // otherwise the order cannot be told here
			return &RowFault{Column: name, Reason: "before " + lastName, Hint: "ended, read and signed follow each other"}
		}
		last, lastName, lastZoned = moment, name, zoned
	}
	if lastName == "" {
		return &RowFault{Column: "ended", Reason: "no time is given", Hint: "at least one of ended, read, signed"}
	}
	return nil
}

// moments are the ways a time may be written; a blank may stand for the T.
var moments = []string{"2006-01-02T15:04:05Z07:00", "2006-01-02T15:04Z07:00", "2006-01-02T15:04:05", "2006-01-02T15:04"}

// parseMoment reads a time. One without offset is in the zone given; when that
// is not known it is taken as UTC and zoned is false.
func parseMoment(text string, zone *time.Location) (at time.Time, zoned bool, err error) {
	text = strings.Replace(text, " ", "T", 1)
	for i, layout := range moments {
		in := zone
		if in == nil {
			in = time.UTC
		}
		if at, err = time.ParseInLocation(layout, text, in); err == nil {
			return at, i < 2 || zone != nil, nil
		}
	}
	return time.Time{}, false, err
}
