package main

import (
	"encoding/csv"
	"errors"
	"os"
	"path/filepath"
	"strings"

	"echotally/internal/audit"
	"echotally/internal/booklet"
	"echotally/internal/booklet/pdfpage"
	"echotally/internal/layout"
	"echotally/internal/table"
)

// The form of who took part.
const (
	attendanceTitle = "Who took part"
	attendanceNote  = "Those who were not present sign that they have read the minutes."
)

var (
	attendanceColumns = []string{"Name", "Role", "Present or read", "Signature"}
	attendanceBlanks  = []int{30, 18, 14, 22}
)

// staff are the names and roles of the list of staff, none when none was named.
func (f *packFlags) staff() ([][2]string, error) {
	if f.roster == "" {
		return nil, nil
	}
	rows, err := namesIn(f.roster, "roster", "the columns are name and role")
	if err != nil {
		return nil, err
	}
	return staffIn(rows)
}

// staffIn are the names and roles in the rows of a list of staff.
func staffIn(rows [][]string) ([][2]string, error) {
	if len(rows) < 2 || !strings.EqualFold(strings.TrimSpace(rows[0][0]), "name") {
		return nil, faults{hinted{errors.New("roster: no list of names"), "the columns are name and role, as intake --roster takes them"}}
	}
	var out [][2]string
	for _, row := range rows[1:] {
		one := [2]string{strings.TrimSpace(row[0])}
		if len(row) > 1 {
			one[1] = strings.TrimSpace(row[1])
		}
		if one[0] != "" {
			out = append(out, one)
		}
	}
	return out, nil
}

// attendanceIn writes the list to be filled in, and with names the one to be signed;
// these are for who wrote them alone.
func attendanceIn(dir string, staff [][2]string, opt audit.Options, paper pdfpage.Paper) error {
	mode := os.FileMode(0o644)
	if staff != nil {
		mode = 0o600
	}
	list, err := os.OpenFile(filepath.Join(dir, "attendance.csv"), os.O_CREATE|os.O_TRUNC|os.O_WRONLY, mode)
	if err != nil {
		return err
	}
	out := csv.NewWriter(list)
	if err := layout.Row(out, "name", "took part"); err != nil {
		return err
	}
	for _, one := range staff {
		if err := layout.Row(out, one[0], ""); err != nil {
			return err
		}
	}
	out.Flush()
	if err := errors.Join(out.Error(), list.Close()); err != nil || staff == nil {
		return err
	}
	sign := form("attendance", attendanceTitle, attendanceNote, len(staff), attendanceBlanks, attendanceColumns...)
	for i, one := range staff {
		sign.Rows[i][0], sign.Rows[i][1] = table.TextCell(strings.ReplaceAll(one[0], "^", ", ")), table.TextCell(one[1])
	}
	b := &booklet.Booklet{
		Name: "attendance", Title: "Meeting about quality: who took part", Of: "date: ______________", Options: opt, Paper: paper,
		Front: []booklet.Passage{{Title: "This list names people", Plain: true, Lines: []string{"It stays with the minutes."}}},
		Forms: []table.Table{sign},
	}
	pdf, err := os.OpenFile(filepath.Join(dir, "attendance.pdf"), os.O_CREATE|os.O_EXCL|os.O_WRONLY, mode)
	if err != nil {
		return err
	}
	return errors.Join(booklet.PDF(pdf, b), pdf.Close())
}
