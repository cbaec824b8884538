package auditwriter

import (
	"fmt"
	"io"
	"strings"

	"echotally/internal/audit"
	"echotally/internal/booklet"
	"echotally/internal/booklet/pdfpage"
)

// overflow is how far, in mm from the top, page one may run on to the next for
// that to go on with the comparisons.
const overflow = 60.0

// pdfOmitted are the tables whose figures page one already shows.
var pdfOmitted = map[string]bool{"headlines": true, "months": true}

// auditPDF writes the report for printing and for the minutes.
func auditPDF(w io.Writer, r *audit.Report, figures charts, paper pdfpage.Paper) error {
	h := headingOf(r)
	d, err := booklet.NewDocument(paper, h.Heading, r.Options.Created)
	if err != nil {
		return err
	}
	pageOne(d, h, r)
	d.Heading("Headline measures")
	d.Charts(figures.headlines)
	if notes := r.Notes.Words(); notes != "" {
		d.Text(notes, 8)
	}
	d.Small(Caption(r))
	if r.Other == nil { // nobody signs a what-if
		d.Signatures(signatures(r.Options.Prepared))
	}
	if len(figures.followed)+len(figures.comparisons) > 0 {
		if d.Page() == 1 {
			d.Break(0)
		} else {
			d.Break(overflow)
		}
		d.Bookmark("Actions and comparisons")
	}
	if len(figures.followed) > 0 {
		d.Heading("What actions should move")
		d.Charts(figures.followed)
	}
	if len(figures.comparisons) > 0 {
		d.Heading("Comparisons")
		d.Charts(figures.comparisons)
		d.Small(comparisonCaption)
	}
	d.Break(0)
	for _, t := range r.Tables {
		if !pdfOmitted[t.Identifier] {
			d.Table(t)
		}
	}
	return d.Output(w)
}

func pageOne(d *booklet.Document, h auditHeading, r *audit.Report) {
	d.Title(h.Title, h.Lab, 15)
	d.Text(h.Prepared+"; data to "+h.Cutoff+".", 9)
	line := h.Received + " received, " + h.Eligible + " eligible for completeness"
	if len(h.Excluded) > 0 {
		line += "; " + strings.Join(h.Excluded, "; ")
	}
	d.Text(line+".", 9)
	if r.Other != nil {
		d.Heading("This is not the lab's audit: what if other rules held")
		for _, l := range r.Other.Lines() {
			d.Item("–", l)
		}
	}
	d.Heading("What signals")
	notable := firstLines(r.Notable())
	for _, n := range notable {
		d.Item("–", n)
	}
	if len(notable) == 0 {
		d.Nothing("No signal in this period.")
	}
	d.Small(r.Chance.Expected())
	d.Heading("What would help most")
	for i, p := range r.Proposals {
		d.Item(fmt.Sprintf("%d.", i+1), p.Text+" ("+about(p.Studies)+")")
	}
	if len(r.Proposals) == 0 {
		d.Nothing("Nothing stands out.")
	}
}

// FunnelCaption says what the lines of a funnel mean.
const FunnelCaption = "Funnels: dashed 95 %, plain 99.8 % limits about the share of all, exact binomial. Codes of persons are drawn anew for every period and audience."

// comparisonCaption explains the charts of the comparisons.
const comparisonCaption = FunnelCaption + " End digits: bars of the person, rings what the others' digits tell. Agreement: second less first reading against their mean, bias dashed, limits plain."
