package booklet_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"echotally/internal/booklet"
	"echotally/internal/booklet/pdfpage"
	"echotally/internal/layout"
)

// TestTypedLinesStandAsTheyAre: poppler finds every line of a text on the page, the
// widest whole and on one line, and the caution on each page.
func TestTypedLinesStandAsTheyAre(t *testing.T) {
	if _, err := exec.LookPath("pdftotext"); err != nil {
		t.Skip("poppler is not installed: what is on the page was not read by another program")
	}
	widest := strings.Repeat("0123456789", 8) + "abcdefgh"
	if len(widest) != layout.Width {
		t.Fatalf("the widest line has %d letters, not %d", len(widest), layout.Width)
	}
	var text strings.Builder
	text.WriteString("TAKE NOW\n  ■ [1] the first ▲ ○ … ◇ – ü µ ≥ ²\n" + widest + "\n" + widest + "beyond\n")
	for range 150 {
		text.WriteString("      a line\n")
	}
	d, err := booklet.NewDocument(pdfpage.A4, booklet.Heading{Title: "Gap sheet", Software: "echotally test", RuleSet: "1 (0123456789ab)", Created: "2026-11-30T15:00:00Z", Cutoff: "2026-11-30"}, time.Unix(0, 0))
	if err != nil {
		t.Fatal(err)
	}
	if err := d.Typed(text.String()); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := d.Output(&b); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "typed.pdf")
	if err := os.WriteFile(name, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("pdftotext", "-layout", name, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	got := string(out)
	for _, want := range []string{"TAKE NOW", "■ [1] the first ▲ ○ … ◊ – ü µ ≥ ²", widest + "\n", "beyond"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is not on the pages:\n%.600s", want, got)
		}
	}
	pages := strings.Count(got, "\f")
	if pages < 2 || strings.Count(got, layout.Caution) != pages || strings.Count(got, "a line") != 150 {
		t.Errorf("%d pages, %d cautions, %d lines", pages, strings.Count(got, layout.Caution), strings.Count(got, "a line"))
	}
}
