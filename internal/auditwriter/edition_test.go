package auditwriter_test

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// The edition of the guidelines is shown by every document of the set.
func TestEditionIsShownInEveryFormat(t *testing.T) {
	dir := auditSet(t, "x")
	for name, want := range map[string]string{
		"audit.html": "guideline edition 2025", "audit.json": `"edition": "2025"`, "audit.xlsx": "Guideline edition", "settings.csv": "Guideline edition,2025",
	} {
		b, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		text := string(b)
		if strings.HasSuffix(name, ".xlsx") {
			text = unzipped(t, b)
		}
		if !strings.Contains(text, want) {
			t.Errorf("%s lacks %q", name, want)
		}
	}
	text, err := pdfText(filepath.Join(dir, "audit.pdf"))
	if errors.Is(err, exec.ErrNotFound) {
		t.Skip("pdftotext is not installed: the PDF was not searched")
	}
	if err != nil || !strings.Contains(text, "guideline edition 2025") {
		t.Errorf("audit.pdf lacks the edition: %v", err)
	}
}
