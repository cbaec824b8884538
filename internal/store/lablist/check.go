package lablist

import (
	"slices"
	"strings"
	"time"
	_ "time/tzdata" // the lab's machine may have no table of time zones
	"unicode"

	"echotally/internal/ucum"
)

var (
	staffRoles = []string{"sonographer", "reader", "trainee"}
	settings   = []string{"inpatient", "outpatient", "urgent", "emergency"}
)

// Check says what is wrong with the cells of a row; nil for nothing.
func (row Row) Check(kind Kind) *Fault {
	fault := row.check(kind)
	if fault != nil {
		fault.Line = row.Line
	}
	return fault
}

func (row Row) check(kind Kind) *Fault {
	switch kind {
	case Roster:
		return checkStaff(row.Cells)
	case Signoff:
		return checkStamp(row.Cells)
	case Labs:
		return checkStation(row.Cells)
	}
	return checkOutside(kind, row.Cells)
}

func checkStaff(c map[string]string) *Fault {
	switch {
	case !strings.ContainsFunc(c["name"], func(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) }):
		return &Fault{Column: "name", Reason: "holds no letter", Hint: "the name as in the reports"}
	case !slices.Contains(staffRoles, strings.ToLower(c["role"])):
		return &Fault{Column: "role", Reason: "not a role", Hint: "one of " + strings.Join(staffRoles, ", ")}
	}
	return nil
}

func checkStation(c map[string]string) *Fault {
	if _, err := time.LoadLocation(c["timezone"]); err != nil || c["timezone"] == "Local" {
		return &Fault{Column: "timezone", Reason: "not a time zone", Hint: "an IANA name, such as Europe/Berlin"}
	}
	return nil
}

func checkOutside(kind Kind, c map[string]string) *Fault {
	if fault := checkWhich(c); fault != nil {
		return fault
	}
	if kind == Appropriateness {
		if !slices.Contains(Appropriatenesses, strings.ToLower(c["class"])) {
			return &Fault{Column: "class", Reason: "not a class", Hint: "one of " + strings.Join(Appropriatenesses, ", ")}
		}
		return nil
	}
	if !slices.Contains(OtherTests, strings.ToLower(c["test"])) {
		return &Fault{Column: "test", Reason: "not a test", Hint: "one of " + strings.Join(OtherTests, ", ")}
	}
	if _, _, err := ucum.ParseDecimal(c["value"]); err != nil {
		return &Fault{Column: "value", Reason: "not a number", Hint: "digits with a point, such as 0.8"}
	}
	if _, err := ucum.Parse(c["unit"]); err != nil {
		return &Fault{Column: "unit", Reason: "not a unit", Hint: "UCUM, such as mm[Hg], cm2, mL or %"}
	}
	if _, err := time.Parse(time.DateOnly, c["date"]); err != nil {
		return &Fault{Column: "date", Reason: "not a day", Hint: "write 2026-10-31"}
	}
	return nil
}

// checkWhich tells whether a row says which study it is of.
func checkWhich(c map[string]string) *Fault {
	if c["study"] == "" && c["accession"] == "" {
		return &Fault{Column: "study", Reason: "neither study nor accession is given", Hint: "one of them tells which study it is"}
	}
	if strings.Trim(c["study"], "0123456789.") != "" {
		return &Fault{Column: "study", Reason: "not a Study Instance UID", Hint: "digits and dots; an accession number has a column of its own"}
	}
	return nil
}

func checkStamp(c map[string]string) *Fault {
	if fault := checkWhich(c); fault != nil {
		return fault
	}
	if set := strings.ToLower(c["setting"]); set != "" && !slices.Contains(settings, set) {
		return &Fault{Column: "setting", Reason: "not a setting", Hint: "one of " + strings.Join(settings, ", ")}
	}
	var last time.Time
	lastName, lastZoned := "", false
	for _, name := range []string{"ended", "read", "signed"} {
		if c[name] == "" {
			continue
		}
		moment, zoned, err := Moment(c[name], nil)
		if err != nil {
			return &Fault{Column: name, Reason: "not a time", Hint: "write 2026-10-31T14:05, with seconds and offset where known"}
		}
		if zoned == lastZoned && moment.Before(last) { // otherwise the order cannot be told here
			return &Fault{Column: name, Reason: "before " + lastName, Hint: "ended, read and signed follow each other"}
		}
		last, lastName, lastZoned = moment, name, zoned
	}
	if lastName == "" {
		return &Fault{Column: "ended", Reason: "no time is given", Hint: "at least one of ended, read, signed"}
	}
	return nil
}

// moments are the ways a time may be written; a blank may stand for the T.
var moments = []string{"2006-01-02T15:04:05Z07:00", "2006-01-02T15:04Z07:00", "2006-01-02T15:04:05", "2006-01-02T15:04"}

// Moment reads a time. One without offset is in the zone given; when that
// is not known it is taken as UTC and zoned is false.
func Moment(text string, zone *time.Location) (at time.Time, zoned bool, err error) {
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
