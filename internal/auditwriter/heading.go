package auditwriter

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"echotally/internal/audit"
	"echotally/internal/booklet"
	"echotally/internal/layout"
	"echotally/internal/table/words"
)

// pageOneLines is how many signals page one tells of: with more, the charts
// would not fit below them.
const pageOneLines = 6

func firstLines(lines []string) []string {
	if len(lines) <= pageOneLines {
		return lines
	}
	more := len(lines) - pageOneLines + 1
	return append(slices.Clone(lines[:pageOneLines-1]), fmt.Sprintf("%d more, in the table of signals", more))
}

// about says of how many studies a proposal speaks.
func about(studies float64) string {
	return "about " + layout.CountOf(int(math.Round(studies)), "study", "studies") + " of the period"
}

// auditHeading is what stands at the head of the report in every format.
type auditHeading struct {
	booklet.Heading
	Prepared, Received, Eligible string
	Excluded                     []string
}

// whatIf begins the title of a report that is not the lab's audit.
const whatIf = "What if"

func headingOf(r *audit.Report) auditHeading {
	o := r.Options
	h := auditHeading{
		Heading:  booklet.HeadingOf("Lab audit, "+o.Period.Words(), layout.OrElse(r.LabName(), "lab not named"), o),
		Received: layout.CountOf(r.Received, "study", "studies"), Eligible: strconv.Itoa(r.Eligible),
	}
	if r.Other != nil {
		h.Title = whatIf + ": " + o.Period.Words() + " by other rules"
	}
	h.Prepared = "Created " + o.Created.UTC().Format("2 January 2006")
	if o.Prepared != "" {
		h.Prepared = "Prepared by " + o.Prepared + ", " + o.Created.UTC().Format("2 January 2006")
	}
	for _, e := range r.Excluded {
		h.Excluded = append(h.Excluded, fmt.Sprintf("%d %s", e.Count, e.Reason))
	}
	if r.Undated > 0 {
		h.Excluded = append(h.Excluded, fmt.Sprintf("%d without a readable date, in no period", r.Undated))
	}
	return h
}

// signatures are the lines of the block to sign.
func signatures(prepared string) [][2]string {
	return [][2]string{{"Prepared by", prepared}, {"Reviewed by", "medical director"}, {"Accepted at the meeting of", ""}}
}

// Caption explains the charts of the measures: what the lines are, and what is marked.
func Caption(r *audit.Report) string {
	out := "Wash: control limits, three standard errors"
	if slices.ContainsFunc(r.Headlines, func(h audit.Headline) bool { return h.Prime }) {
		out += ", widened where months vary more than chance allows (p′)"
	}
	out += "; dashed: centre; dotted: target; ringed diamond: beyond the limits"
	if slices.ContainsFunc(r.Headlines, func(h audit.Headline) bool {
		return slices.ContainsFunc(h.Months, func(m audit.Month12) bool { return m.YearBefore.Total > 0 })
	}) {
		out += "; thin grey line: a year earlier"
	}
	out += ". The study is the unit; intervals are Wilson score, 95 %."
	var marks []string
	for _, p := range r.Marks() {
		kind := ""
		if p.Action {
			kind = "action, "
		}
		marks = append(marks, fmt.Sprintf("(%s) %s: %s%s", p.Mark, p.At.Format("2 January 2006"), kind, p.Title))
	}
	if len(marks) > 0 {
		out += " Marked, with limits that begin anew where three months lie to either side: " + strings.Join(marks, "; ") + "."
	}
	return out
}

// cardWords are the small lines of a chart.
func cardWords(h *audit.Headline) []string {
	var out []string
	if i := words.IntervalText(h.Now); i != "" {
		out = append(out, "interval "+i)
	}
	if !math.IsNaN(h.Measure.Target) {
		out = append(out, "target "+words.NumberText(100*h.Measure.Target)+" %")
	}
	if h.Untold > 0 {
		out = append(out, fmt.Sprintf("%d cannot be told", h.Untold))
	}
	if h.Prime {
		out = append(out, "p′")
	}
	return out
}
