package writer

import (
	"fmt"
	"strings"
)

// The sentences that the text and the HTML sheet share.

// Obstacles are what stands in the way of sign-off besides findings: parts of
// the study that nobody has judged.
func (s *sheet) Obstacles() []string {
	var out []string
	refused, partial := 0, 0
	for _, o := range s.NotRead {
		switch o.State {
		case "refused":
			refused++
		case "partial":
			partial++
		}
	}
	if len(s.Reports) == 0 {
		out = append(out, "No report of this study was read: nothing was checked.")
	}
	if refused > 0 {
		out = append(out, count(refused, "file")+" could not be read: what it holds is not judged.")
	}
	if partial > 0 {
		out = append(out, count(partial, "file")+" damaged, read in part only.")
	}
	return out
}

// NothingFound is said instead of an empty first section. It never clears a
// study: that is the reader's to say.
func (s *sheet) NothingFound() string {
	text := "These rules found nothing that stands in the way."
	if s.Counts.Open > 0 {
		text += fmt.Sprintf(" %s could not be made, see below.", count(s.Counts.Open, "check"))
	}
	return text + " Whether the study can be signed is the reader's to decide."
}

// UnnamedNote says how many measurements no rule could see, "" when none.
func (s *sheet) UnnamedNote() string {
	if s.Unnamed == 0 {
		return ""
	}
	return fmt.Sprintf("%d of %s have a code that no measurand file names, so no rule saw them (echotally codes lists them).",
		s.Unnamed, count(s.Measured, "measurement"))
}

// Sentence is the summary of all checks.
func (c counts) Sentence() string {
	return fmt.Sprintf("Checks: %d failed (%d error, %d warning, %d note), %d to look at, %d could not be told, %d absent with reason, %d passed, %d did not apply.",
		c.Errors+c.Warnings+c.Information, c.Errors, c.Warnings, c.Information, c.Review, c.Open, c.Excused, c.Pass, c.NotApplicable)
}

// String writes an evidence line in the order: what, written, where.
func (l evidenceLine) String() string {
	value := l.Written
	if l.Is != "" {
		value += " = " + l.Is
	}
	text := strings.TrimSpace(l.What + " " + value)
	if l.View != "" {
		text += ", " + l.View
	}
	if l.Where != "" {
		text += " [" + l.Where + "]"
	}
	if l.Note != "" {
		text = strings.TrimSpace(text + " (" + l.Note + ")")
	}
	return text
}

func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
