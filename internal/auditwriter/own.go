package auditwriter

import (
	"echotally/internal/audit"
	"echotally/internal/plot"
)

// Own is what a feedback sheet says, for who shows it in another layout.
type Own struct {
	*audit.Feedback
	Title    string
	Lines    []OwnLine
	Flags    []string
	FlagNote string
	GapWords []string     // of each gap
	Learning []string     // what the learning curve says, none for who is not learning
	Drawn    *plot.Figure // the curve
}

// OwnLine is a measure in words; Lab is empty where too few studies are judged.
type OwnLine struct {
	Title, Own, Lab string
	Lacking         []audit.Example
}

// OwnOf puts the figures of one person into the words of the sheet.
func OwnOf(f *audit.Feedback) *Own {
	out := &Own{Feedback: f, Title: feedbackTitle(f), FlagNote: flagNote}
	lines := feedbackLines(f)
	for i, o := range f.Own {
		line := OwnLine{Title: o.Measure.Title, Own: countedOf(o), Lacking: o.Lacking}
		if f.TooFew == "" {
			line.Own, line.Lab = lines[i].Own, lines[i].Lab
		}
		out.Lines = append(out.Lines, line)
	}
	for _, one := range f.Flagged {
		out.Flags = append(out.Flags, flagWords(one))
	}
	words := gapWords
	if f.TooFew != "" {
		words = countedGap
	}
	for _, g := range f.Gaps {
		out.GapWords = append(out.GapWords, words(g))
	}
	if f.Curve != nil {
		out.Learning, out.Drawn = curveLines(f.Curve), curveFigure(f.Curve)
	}
	return out
}
