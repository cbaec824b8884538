package auditwriter_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"echotally/internal/audit"
	"echotally/internal/auditwriter"
	"echotally/internal/calendar"
	"echotally/internal/layout"
)

// The sheet of a sonographer tells the learning curve in words, draws it and
// says what the drawing shows; it bears no pseudonym.
func TestFeedbackSheetShowsTheCurve(t *testing.T) {
	opt := audit.Defaults()
	opt.Period, _ = calendar.Month("2026-10")
	opt.Floor, opt.Cutoff = 5, time.Date(2026, 11, 2, 9, 0, 0, 0, time.UTC)
	studies := lab("MARKERSTAFF")
	for i := range studies {
		studies[i].Trainee = true
	}
	f, found := audit.NewFeedback(studies, opt, "p-MARKERSTAFF2")
	if !found || f.Curve == nil || len(f.Curve.Test.Decisions) == 0 {
		t.Fatal("the lab has no curve to show")
	}
	last := f.Curve.Studies[f.Curve.Test.Decisions[len(f.Curve.Test.Decisions)-1].At].Date.Format(time.DateOnly)
	for format, wanted := range map[layout.Format][]string{
		layout.Text: {"LEARNING CURVE", last},
		layout.HTML: {"<h2>Learning curve</h2>", `<svg role="img"`, "Cumulative sum over", "<th scope=\"col\">Sum at the end</th>", last},
	} {
		var b bytes.Buffer
		if err := auditwriter.FeedbackSheet(&b, format, f); err != nil {
			t.Fatal(err)
		}
		for _, w := range wanted {
			if !strings.Contains(b.String(), w) {
				t.Errorf("%s: the sheet does not hold %q", format, w)
			}
		}
		if strings.Contains(b.String(), "MARKERSTAFF") {
			t.Errorf("%s: the sheet holds the pseudonym", format)
		}
	}
	f.Curve = nil
	var b bytes.Buffer
	if err := auditwriter.FeedbackSheet(&b, layout.HTML, f); err != nil || strings.Contains(b.String(), "Learning curve") {
		t.Errorf("without a curve the sheet still speaks of it: %v", err)
	}
}
