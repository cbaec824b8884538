package writer

import (
	"fmt"
	"strings"

	"echotally/internal/layout"
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
	if s.Failed != "" {
		return append(out, failedWords(s.Failed))
	}
	if len(s.Reports) == 0 {
		out = append(out, "No report of this study was read: nothing was checked.")
	}
	if len(s.Reports) > 0 && s.Measured == s.Unnamed {
		text := "The reports hold no measurement"
		if s.Measured > 0 {
			text = "No measurement of the reports has a code that is known here"
		}
		out = append(out, text+": only the record itself was checked.")
	}
	if refused > 0 {
		out = append(out, layout.Count(refused, "file")+" could not be read: what it holds is not judged.")
	}
	if partial > 0 {
		out = append(out, layout.Count(partial, "file")+" damaged, read in part only.")
	}
	return out
}

// failedWords say that the program is at fault, not the study.
func failedWords(why string) string {
	return "This study was not judged, because of a fault of this program (" + why + "). Report it; the other studies are not concerned."
}

// Wrong is the entry's first line: what is wrong, not the rule that says it
// should be right.
func (e entry) Wrong() string { return layout.OrElse(e.Message, e.Title) }

// Briefly is Wrong cut after its third part: a remark that lists many items
// would drown the others.
func (e entry) Briefly() string {
	const shown = 3
	parts := strings.Split(e.Wrong(), "; ")
	if len(parts) <= shown+1 {
		return e.Wrong()
	}
	return strings.Join(parts[:shown], "; ") + fmt.Sprintf("; and %d more", len(parts)-shown)
}

// Should is what should hold, "" when Wrong says it already.
func (e entry) Should() string {
	if e.Message == "" {
		return ""
	}
	return e.Title
}

// Besides says what else wants an eye, after or instead of the obstacles. It
// never clears a study: that is the reader's to say.
func (s *sheet) Besides() string {
	if len(s.Reports) == 0 {
		return ""
	}
	var parts []string
	for _, c := range []struct {
		n    int
		noun string
	}{{s.Counts.Warnings, "warning"}, {s.Counts.Review, "finding to look at"}, {s.Counts.Open, "check that could not be made"}} {
		if c.n > 0 {
			parts = append(parts, layout.CountOf(c.n, c.noun, plural(c.noun)))
		}
	}
	text := ""
	switch {
	case len(s.InTheWay)+len(s.Obstacles()) > 0 && len(parts) > 0:
		text = "Besides: " + strings.Join(parts, ", ") + "."
	case len(parts) > 0:
		text = "No error was found, but " + strings.Join(parts, ", ") + "; see below."
	case len(s.InTheWay)+len(s.Obstacles()) == 0:
		text = "These rules found neither error nor warning."
	}
	return strings.TrimSpace(text + " Whether the study is signed is the reader's decision.")
}

func plural(noun string) string {
	first, rest, more := strings.Cut(noun, " ")
	if !more {
		return first + "s"
	}
	return first + "s " + rest
}

// UnnamedNote says how many measurements no rule could see, "" when none.
func (s *sheet) UnnamedNote() string {
	if s.Unnamed == 0 {
		return ""
	}
	said := "measurements have a code that no measurand file names, so no rule saw them"
	if s.Unnamed == 1 {
		said = "measurements has a code that no measurand file names, so no rule saw it"
	}
	return fmt.Sprintf("%d of %d %s (echotally codes PATH lists such codes).", s.Unnamed, s.Measured, said)
}

// Sentence is the summary of all checks.
func (c counts) Sentence() string {
	lab := ""
	if c.PerLab > 0 {
		lab = fmt.Sprintf(" %d more about how the lab reports, which the lab's audit counts.", c.PerLab)
	}
	return fmt.Sprintf("Checks: %d failed (%d error, %d warning, %d note), %d to look at, %d could not be checked, %d absent with reason, %d passed, %d did not apply.",
		c.Errors+c.Warnings+c.Information, c.Errors, c.Warnings, c.Information, c.Review, c.Open, c.Excused, c.Pass, c.NotApplicable) + lab
}

// String writes an evidence line in the order: what, written, where.
func (l evidenceLine) String() string {
	return strings.TrimSpace(l.What + " " + l.also())
}

// also is the line without what it is a value of.
func (l evidenceLine) also() string {
	text := l.Written
	if l.Is != "" {
		text += " = " + l.Is
	}
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
