package auditwriter

import (
	"io"

	"echotally/internal/audit"
	"echotally/internal/booklet"
)

// auditXLSX writes the workbook.
func auditXLSX(w io.Writer, r *audit.Report) error {
	h := headingOf(r)
	facts := [][2]string{{"Report", h.Title}, {"Lab", h.Lab}, {"Prepared", h.Prepared}, {"Data to", h.Cutoff}, {"Received", h.Received}, {"Eligible for completeness", h.Eligible}}
	for _, e := range h.Excluded {
		facts = append(facts, [2]string{"Not in completeness", e})
	}
	if r.Other != nil {
		for _, l := range r.Other.Lines() {
			facts = append(facts, [2]string{whatIf, l})
		}
	}
	if notes := r.Notes.Words(); notes != "" {
		facts = append(facts, [2]string{"Notes", notes})
	}
	for _, p := range r.Marks() {
		facts = append(facts, [2]string{"Marked (" + p.Mark + ")", p.At.Format("2006-01-02") + " " + p.Title})
	}
	return booklet.Workbook(w, h.Heading, facts, r.Tables)
}
