package audit

import (
	"fmt"

	"echotally/internal/stats"
	"echotally/internal/table"
)

// Against sets the headline measures of the report beside those of another period of
// the same lab, and puts the table before the others.
func (r *Report) Against(other *Report) table.Table {
	t := table.Table{
		Identifier: "against", Title: "This period beside " + other.Options.Period.Words(),
		Note: fmt.Sprintf("%d and %d studies. Differences with Newcombe intervals, all rows together 95 %% (Bonferroni); none under %d studies. The studies of both are judged by the rules of today; patients and scanners may have changed as well.",
			r.Received, other.Received, r.Options.Floor),
		Columns: []table.Column{
			table.MachineColumn("measure", "Measure", table.Words, "identifier of the measure"), table.NewColumn("title", "Measure in words", table.Words, "what is counted as met"),
			table.NewColumn("share", r.Options.Period.Words(), table.Share, "studies met of studies counted in this period"),
			table.NewColumn("share_other", other.Options.Period.Words(), table.Share, "the same in the other period"),
			table.NewColumn("difference", "Difference, points", table.Estimate, "this period less the other, with its interval"),
		},
	}
	together := stats.Simultaneous(table.Confidence, len(r.Headlines))
	for i, h := range r.Headlines {
		now, was, change := h.Now, other.Headlines[i].Now, table.NoCell()
		if min(now.Total, was.Total) >= r.Options.Floor {
			d, between := stats.Difference(now, was, together)
			change = table.EstimateCell(100*d, stats.Interval{Low: 100 * between.Low, High: 100 * between.High})
		}
		t.Add(table.TextCell(h.Measure.Identifier), table.TextCell(h.Measure.Title), table.ShareCell(now), table.ShareCell(was), change)
	}
	r.Tables = append([]table.Table{t}, r.Tables...)
	return t
}
