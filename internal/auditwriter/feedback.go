package auditwriter

import (
	"bufio"
	"bytes"
	"fmt"
	"html/template"
	"io"
	"strings"

	"echotally/internal/audit"
	"echotally/internal/booklet"
	"echotally/internal/layout"
	"echotally/internal/table"
	"echotally/internal/table/words"
)

// FeedbackSheet writes one person's own figures, as text or as a page. It bears
// no name.
func FeedbackSheet(w io.Writer, format layout.Format, f *audit.Feedback) error {
	if format == layout.HTML {
		return feedbackHTML(w, f)
	}
	out := bufio.NewWriter(w)
	p := layout.Printer{W: out}
	p.Line(feedbackTitle(f))
	p.Line("")
	p.Line(layout.CountOf(f.Studies, "study", "studies") + " at " + layout.OrElse(f.Lab, "the lab") + ".")
	if f.TooFew != "" {
		p.Wrapped("", f.TooFew)
		p.Line("")
		p.Line("COUNTED")
		for _, o := range f.Own {
			p.Wrapped("  - ", countedWords(o))
		}
		gapsText(p, "GAPS", f.Gaps, countedGap)
		p.Line("")
		p.Wrapped("", feedbackFoot(f))
		return out.Flush()
	}
	for _, o := range feedbackLines(f) {
		p.Line("")
		p.Line(o.Title)
		p.Wrapped("  ", "you: "+o.Own)
		p.Wrapped("  ", "lab: "+o.Lab)
	}
	if len(f.Flagged) > 0 {
		p.Line("")
		p.Line("WHERE YOU DIFFER FROM THE OTHERS")
		for _, one := range f.Flagged {
			p.Wrapped("  - ", flagWords(one))
		}
		p.Wrapped("  ", flagNote)
	}
	curveText(p, f.Curve)
	gapsText(p, "COMMONEST GAPS", f.Gaps, gapWords)
	p.Line("")
	p.Wrapped("ONE ACTION  ", f.Action)
	p.Wrapped("REPLY       ", strings.Repeat("_", 60))
	p.Line("")
	p.Wrapped("", feedbackFoot(f))
	return out.Flush()
}

func gapsText(p layout.Printer, title string, gaps []audit.Gap, words func(audit.Gap) string) {
	p.Line("")
	p.Line(title)
	for i, g := range gaps {
		p.Wrapped(fmt.Sprintf("  %d. ", i+1), g.Title+": "+words(g))
		for _, uid := range g.Examples {
			p.Line("     " + exampleWords(uid))
		}
	}
	if len(gaps) == 0 {
		p.Line("  Nothing.")
	}
}

func gapWords(g audit.Gap) string { return "not so in " + table.Percent(g.Times) }

// countedGap and countedWords say numbers of which no share is made.
func countedGap(g audit.Gap) string {
	return fmt.Sprintf("not so in %d of %d", g.Times.Count, g.Times.Total)
}

func countedWords(o audit.OwnFigure) string { return o.Measure.Title + ": " + countedOf(o) }

func countedOf(o audit.OwnFigure) string {
	if o.Own.Total == 0 {
		return "none that counts"
	}
	return fmt.Sprintf("%d of %d", o.Own.Count, o.Own.Total)
}

// What a feedback sheet is begun with, by which it is known again.
const (
	feedbackWords = "Own figures, "
	feedbackMark  = "feedback sheet"
)

// IsFeedback reports whether what begins so is a feedback sheet of this program
// in the format.
func IsFeedback(format layout.Format, head []byte) bool {
	if format == layout.HTML {
		return layout.IsPage(head, feedbackMark)
	}
	return bytes.HasPrefix(head, []byte(feedbackWords))
}

func feedbackFoot(f *audit.Feedback) string {
	return layout.Caution + " Guideline edition " + f.Edition + "."
}

func feedbackTitle(f *audit.Feedback) string {
	return fmt.Sprintf(feedbackWords+"%s, %s", f.Period.Words(), f.Role)
}

// flagNote says what it means to be flagged.
const flagNote = "This is unlikely to be chance among all that was tested in the lab; case-mix, rooms and rota may explain it. It is a question, not a verdict."

func flagWords(f audit.Flag) string {
	return fmt.Sprintf("%s: you %s of %s, the others %s", f.Title, table.Percent(f.Own), f.Counted, table.Percent(f.Others))
}

func exampleWords(e audit.Example) string {
	if e.Date.IsZero() {
		return "study " + e.UID
	}
	return e.Date.Format("2 Jan 2006") + ", study " + e.UID
}

// feedbackLine is one measure in words.
type feedbackLine struct{ Title, Own, Lab string }

func feedbackLines(f *audit.Feedback) []feedbackLine {
	var out []feedbackLine
	for _, o := range f.Own {
		line := feedbackLine{Title: o.Measure.Title, Own: table.Percent(o.Own), Lab: "not shown, too few people"}
		if i := words.IntervalText(o.Own); i != "" {
			line.Own += ", interval " + i
		}
		if o.Before.Total > 0 {
			line.Own += "; in the months before " + table.Percent(o.Before)
		}
		if b := o.Band; b != nil {
			line.Lab = fmt.Sprintf("median %.1f %%, eight in ten of %d people between %.1f and %.1f %%", 100*b.Median, b.People, 100*b.Low, 100*b.High)
		}
		line.Lab += fmt.Sprintf("; target %.0f %%", 100*o.Measure.Target)
		out = append(out, line)
	}
	return out
}

func feedbackHTML(w io.Writer, f *audit.Feedback) error {
	curve, err := newFeedbackCurve(f.Curve)
	if err != nil {
		return err
	}
	t, err := booklet.Page(templates, "feedback", feedbackMark, "", template.FuncMap{
		"gap":     gapWords,
		"fewGap":  countedGap,
		"counted": countedWords,
		"flag":    flagWords,
		"example": exampleWords,
	})
	if err != nil {
		return err
	}
	return t.Execute(w, struct {
		*audit.Feedback
		Title, Caution, FlagNote string
		Lines                    []feedbackLine
		Drawn                    *feedbackCurve
	}{f, feedbackTitle(f), feedbackFoot(f), flagNote, feedbackLines(f), curve})
}
