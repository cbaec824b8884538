package audit

import (
	"fmt"
	"slices"
	"strings"

	"echotally/internal/calendar"
	"echotally/internal/counted"
	"echotally/internal/stats"
	"echotally/internal/table"
)

// lastYear counts a measure in the same months of the year before; months
// without studies count nothing.
func (r *builder) lastYear(m Measure) []stats.Proportion {
	out := make([]stats.Proportion, len(r.opt.Period.Look().Months()))
	months := r.opt.Period.Look().YearBefore().Months()
	for _, s := range r.before {
		if counted, met := m.Of(s); counted {
			i := slices.Index(months, calendar.MonthOf(s.Date))
			out[i].Total++
			if met {
				out[i].Count++
			}
		}
	}
	return out
}

// years sets the twelve months shown beside the same months of the year before.
func (r *builder) years() table.Table {
	look, was := r.opt.Period.Look(), r.opt.Period.Look().YearBefore()
	t := table.Table{
		Identifier: "years", Title: "Twelve months beside the year before",
		Columns: []table.Column{
			table.MachineColumn("measure", "Measure", table.Words, "identifier of the measure"), table.NewColumn("title", "Measure in words", table.Words, "what is counted as met"),
			table.NewColumn("period", "This period", table.Share, "studies met of studies counted in the period"), table.NewColumn("period_before", "A year earlier", table.Share, "the same period of the year before"),
			table.NewColumn("months", "Twelve months", table.Share, "the months shown"), table.NewColumn("months_before", "The twelve before", table.Share, "the same months of the year before"),
			table.NewColumn("difference", "Difference, points", table.Estimate, "twelve months less the twelve before, with its interval"),
		},
	}
	if t.Note = fmt.Sprintf("The ledger holds no study of %s to compare with.", was.Words()); len(r.before) > 0 {
		t.Note = fmt.Sprintf("%s beside %s: %d and %d studies. Differences with Newcombe intervals, all rows together 95 %% (Bonferroni). Rules, scanners and patients may have changed between the years as well; the studies of both are judged by the rules of today.",
			look.Words(), was.Words(), len(r.look), len(r.before))
	}
	earlier := r.opt.Period.YearBefore()
	var then []*counted.Study
	for _, s := range r.before {
		if earlier.Holds(s.Date) {
			then = append(then, s)
		}
	}
	together := stats.Simultaneous(table.Confidence, len(r.report.Headlines))
	for _, h := range r.report.Headlines {
		now, before := h.Measure.over(r.look), h.Measure.over(r.before)
		change := table.NoCell()
		if min(now.Total, before.Total) >= r.opt.Floor {
			d, between := stats.Difference(now, before, together)
			change = table.EstimateCell(100*d, stats.Interval{Low: 100 * between.Low, High: 100 * between.High})
		}
		t.Add(table.TextCell(h.Measure.Identifier), table.TextCell(h.Measure.Title), table.ShareCell(h.Now), table.ShareCell(h.Measure.over(then)), table.ShareCell(now), table.ShareCell(before), change)
	}
	return t
}

// imageQuality tells how good images were where the record says so, and how
// complete studies are with each quality.
func (r *builder) imageQuality() table.Table {
	t := table.Table{
		Identifier: "image-quality", Title: "Image quality",
		Note: "As the reports state it, in the grades of the standard and fair. A study whose reports state several qualities, or none, is not recorded. Completeness beside it, since poor images excuse gaps.",
		Columns: []table.Column{
			table.NewColumn("quality", "Quality", table.Words, "excellent, good, fair, poor or not recorded"), table.NewColumn("studies", "Studies", table.Share, "of the read studies of the period"),
			table.NewColumn("complete", "Nothing missing without a reason", table.Share, "eligible studies of this quality"),
		},
	}
	m, _ := r.opt.Find(Complete)
	by, read := map[string][]*counted.Study{}, 0
	for _, s := range r.now {
		if !s.Unread {
			read++
			by[s.Case.Quality] = append(by[s.Case.Quality], s)
		}
	}
	for _, name := range append(slices.Clone(r.opt.Scales.Qualities), "") {
		title := strings.ToUpper(name[:min(1, len(name))]) + name[min(1, len(name)):]
		if name == "" {
			title = NotRecorded
		}
		t.Add(table.TextCell(title), table.ProportionCell(len(by[name]), read), table.ShareCell(m.over(by[name])))
	}
	return t
}
