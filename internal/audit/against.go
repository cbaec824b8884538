package audit

import (
	"fmt"
	"strconv"
	"strings"

	"echotally/internal/stats"
)

// ParsePeriod reads a month, 2026-10, a quarter, 2026-Q3, a year, 2026, or two dates,
// 2026-10-05 to 2026-10-11.
func ParsePeriod(text string) (Period, error) {
	from, to, two := strings.Cut(text, " to ")
	switch {
	case two:
		return Between(from, to)
	case strings.Contains(text, "-Q"):
		return Quarter(text)
	case strings.Contains(text, "-"):
		return Month(text)
	}
	return Year(text)
}

// Spans lists the years, quarters and months that dates of the period lie in, the
// latest first, each by what [ParsePeriod] reads.
func (p Period) Spans() (years, quarters, months []string) {
	all := p.Months()
	add := func(to *[]string, name string) {
		if n := len(*to); n == 0 || (*to)[n-1] != name {
			*to = append(*to, name)
		}
	}
	for i := len(all) - 1; i >= 0; i-- {
		m := all[i]
		add(&years, strconv.Itoa(m.Year()))
		add(&quarters, fmt.Sprintf("%d-Q%d", m.Year(), (int(m.Month())+2)/3))
		add(&months, m.Format("2006-01"))
	}
	return years, quarters, months
}

// Against sets the headline measures of the report beside those of another period of
// the same lab, and puts the table before the others.
func (r *Report) Against(other *Report) Table {
	t := Table{
		Identifier: "against", Title: "This period beside " + other.Options.Period.Words(),
		Note: fmt.Sprintf("%d and %d studies. Differences with Newcombe intervals, all rows together 95 %% (Bonferroni); none under %d studies. The studies of both are judged by the rules of today; patients and scanners may have changed as well.",
			r.Received, other.Received, r.Options.Floor),
		Columns: []Column{
			machine("measure", "Measure", Words, "identifier of the measure"), column("title", "Measure in words", Words, "what is counted as met"),
			column("share", r.Options.Period.Words(), Share, "studies met of studies counted in this period"),
			column("share_other", other.Options.Period.Words(), Share, "the same in the other period"),
			column("difference", "Difference, points", Estimate, "this period less the other, with its interval"),
		},
	}
	together := stats.Simultaneous(Confidence, len(r.Headlines))
	for i, h := range r.Headlines {
		now, was, change := h.Now, other.Headlines[i].Now, NoCell()
		if min(now.Total, was.Total) >= r.Options.Floor {
			d, between := stats.Difference(now, was, together)
			change = EstimateCell(100*d, stats.Interval{Low: 100 * between.Low, High: 100 * between.High})
		}
		t.Add(TextCell(h.Measure.Identifier), TextCell(h.Measure.Title), ShareCell(now), ShareCell(was), change)
	}
	r.Tables = append([]Table{t}, r.Tables...)
	return t
}
