package accreditation

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"path"
	"slices"
	"strings"
	"time"

	"echotally/internal/printable"
)

// Meeting is a meeting about quality that was held.
type Meeting struct {
	Date     string   `json:"date"`               // 2026-10-12
	Title    string   `json:"title"`              //
	Present  []string `json:"present,omitempty"`  // pseudonyms of who took part
	Informed []string `json:"informed,omitempty"` // pseudonyms of who signed to have read the minutes
	Minutes  *File    `json:"minutes,omitempty"`
}

// Check refuses a meeting at which nobody was, and one that was recorded before.
func (m *Meeting) Check(held []Meeting) error {
	switch {
	case len(m.Present) == 0:
		return errors.New("nobody is said to have been present")
	case slices.ContainsFunc(held, func(o Meeting) bool { return o.Date == m.Date && o.Title == m.Title }):
		return fmt.Errorf("a meeting of %s of this title is recorded already", m.Date)
	}
	return nil
}

// File is a file of the lab that is shown: its name and what it holds, by hash. The
// lab keeps it.
type File struct {
	Name   string `json:"name"`
	SHA256 string `json:"sha256"`
	Bytes  int64  `json:"bytes"`
}

// FileOf is what a file holds, by size and hash. Of its name the last part is kept.
func FileOf(name string, r io.Reader) (*File, error) {
	h := sha256.New()
	n, err := io.Copy(h, r)
	if err != nil {
		return nil, err
	}
	name = strings.ReplaceAll(name, `\`, "/") // as browsers of some systems send it
	return &File{Name: printable.Line(path.Base(name)), SHA256: hex.EncodeToString(h.Sum(nil)), Bytes: n}, nil
}

// Attachment shows a requirement, says something of it, or says why it does not apply.
type Attachment struct {
	Set           string `json:"set"`
	Requirement   string `json:"requirement"`
	Title         string `json:"title,omitempty"`
	File          *File  `json:"file,omitempty"`
	Statement     string `json:"statement,omitempty"` // what the lab says where there is no file: it shows a requirement in part only
	Until         string `json:"until,omitempty"`     // day until which it is valid, "" for no end
	NotApplicable string `json:"notApplicable,omitempty"`
	By            string `json:"by"`            // a role, never a name
	Who           string `json:"who,omitempty"` // mark of the account of the page, "" for none
	At            string `json:"at"`            // RFC 3339, UTC; set when it is recorded
	Number        int    `json:"-"`             // among the attachments of the ledger
}

// Check refuses an attachment that shows nothing.
func (a *Attachment) Check(s *Set) error {
	if !slices.ContainsFunc(s.Requirements, func(r Requirement) bool { return r.Identifier == a.Requirement }) {
		return fmt.Errorf("the set %s has no requirement %q", s.Identifier, a.Requirement)
	}
	given := 0
	for _, one := range []bool{a.File != nil, a.Statement != "", a.NotApplicable != ""} {
		if one {
			given++
		}
	}
	if given != 1 {
		return errors.New("an attachment is one of these: a file, a statement, or the reason why the requirement does not apply")
	}
	if a.Until != "" {
		until, err := time.Parse(time.DateOnly, a.Until)
		if err != nil {
			return fmt.Errorf("%q is no date; write it as 2027-06-30", a.Until)
		}
		if at, err := time.Parse(time.RFC3339, a.At); err == nil && until.Before(at.AddDate(0, 0, -1)) {
			return fmt.Errorf("it was valid until %s, which is over", a.Until)
		}
	}
	if a.File != nil && a.File.Bytes == 0 {
		return errors.New("the file is empty")
	}
	return nil
}

// Attendance is a line of the list of who took part in a meeting.
type Attendance struct {
	Line       int
	Name       string
	ReadByHand bool // signed to have read the minutes instead
}

// ReadAttendance takes the rows of an attendance list: a name and how the person
// took part, "present", "read", or "absent". In a list with the column, who has
// nothing in it was absent. Faults name the line, never the person.
func ReadAttendance(rows [][]string) (out []Attendance, faults []string) {
	if len(rows) == 0 || len(rows[0]) < 1 || strings.ToLower(strings.TrimSpace(rows[0][0])) != "name" {
		return nil, []string{"line 1: the columns are name and took part"}
	}
	for i, row := range rows[1:] {
		a := Attendance{Line: i + 2, Name: strings.TrimSpace(row[0])}
		how := "present" // in a list of names alone
		if len(rows[0]) > 1 {
			how = "absent"
		}
		if len(row) > 1 && strings.TrimSpace(row[1]) != "" {
			how = strings.ToLower(strings.TrimSpace(row[1]))
		}
		switch {
		case a.Name == "":
			faults = append(faults, fmt.Sprintf("line %d: no name", a.Line))
			continue
		case how == "absent":
			continue
		case how != "present" && how != "read":
			faults = append(faults, fmt.Sprintf("line %d: took part is present, read or absent", a.Line))
			continue
		}
		a.ReadByHand = how == "read"
		out = append(out, a)
	}
	return out, faults
}

// named is what a file or a statement is called.
func (a *Attachment) named() string {
	if a.File == nil {
		return a.Statement
	}
	return cmp.Or(a.Title, a.File.Name)
}

// Words is the attachment on one line.
func (a *Attachment) Words() string {
	if a.NotApplicable != "" {
		return fmt.Sprintf("%s %s: does not apply, by the %s: %s", a.Set, a.Requirement, a.By, printable.Line(a.NotApplicable))
	}
	if a.Statement != "" {
		out := fmt.Sprintf("%s %s: stated by the %s: %s", a.Set, a.Requirement, a.By, printable.Line(a.Statement))
		if a.Until != "" {
			out += ", until " + a.Until
		}
		return out
	}
	out := fmt.Sprintf("%s %s: %s (%d bytes, SHA-256 %s), by the %s", a.Set, a.Requirement, printable.Line(a.named()), a.File.Bytes, a.File.SHA256, a.By)
	if a.Until != "" {
		out += ", until " + a.Until
	}
	return out
}
