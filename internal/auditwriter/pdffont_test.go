package auditwriter_test

import (
	"errors"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"echotally/internal/auditwriter"
	"echotally/internal/booklet/pdfpage"
)

// A letter beyond the font, also beyond the first 65,536, is shown as replaced
// and ends nothing; what the font has stays.
func TestLettersThatTheFontLacksAreShownAsReplaced(t *testing.T) {
	r := labReport(t, "x")
	r.Options.Lab = "Žofín \U00020000 \U0001FAC0 心"
	r.Tables[0].Title += " \U00020001"
	r.Tables[1].Rows = append(r.Tables[1].Rows, r.Tables[1].Rows[0])
	for i := range r.Tables[1].Rows[0] {
		r.Tables[1].Rows[0][i].Text = "\U00020002 心\u0301"
	}
	r.Headlines[0].Measure.Title += " \U0001FAC0"
	dir := t.TempDir()
	if _, err := auditwriter.AuditSet(dir, r, pdfpage.A4); err != nil {
		t.Fatal(err)
	}
	text, err := pdfText(filepath.Join(dir, "audit.pdf"))
	if errors.Is(err, exec.ErrNotFound) {
		t.Skip("pdftotext is not installed: the PDF was not searched")
	}
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(text, "Žofín \uFFFD \uFFFD \uFFFD") {
		t.Errorf("the PDF lacks the lab's name with the letters replaced\n%.400s", text)
	}
}
