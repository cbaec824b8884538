package audit

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"echotally/internal/counted"
	"echotally/internal/stats"
	"echotally/internal/stats/reliability"
	"echotally/internal/table"
)

// nearDays is how far apart the tests of a pair may be (site choice): with more
// the patient may have changed.
const nearDays = 30

// correlations are the tables of how echo findings compare with other tests: in
// sum, and case by case without anything that names the study.
func (r *builder) correlations() []table.Table {
	sum := table.Table{
		Identifier: "correlation", Title: "Comparison with other tests",
		Columns: []table.Column{
			table.MachineColumn("measurand", "Identifier", table.Words, "identifier of the measurand"), table.NewColumn("title", "Measurement", table.Words, "title of the measurand"), table.NewColumn("unit", "Unit", table.Words, "UCUM unit of the figures"),
			table.NewColumn("test", "Other test", table.Words, "what echo is compared with"), table.NewColumn("listed", "Listed", table.Count, "comparisons in the lab's list for studies of the period"),
			table.NewColumn("pairs", "Compared", table.Count, fmt.Sprintf("of them with a value of the echo study, at most %d days apart", nearDays)),
			table.NewColumn("bias", "Bias", table.Estimate, "mean of echo less the other test, with its interval"), table.NewColumn("sd", "SD", table.Number, "standard deviation of the differences"),
			table.NewColumn("lower", "Lower limit", table.Estimate, "lower limit of agreement, bias − 1.96 SD, with its interval"), table.NewColumn("upper", "Upper limit", table.Estimate, "upper limit of agreement, with its interval"),
		},
	}
	cases := table.Table{
		Identifier: "correlation-cases", Title: "Comparisons with other tests, case by case", Note: "One row for each comparison of the lab's list. Nothing names the study.",
		Columns: []table.Column{
			table.NewColumn("title", "Measurement", table.Words, "title of the measurand"), table.NewColumn("unit", "Unit", table.Words, "UCUM unit of the figures"), table.NewColumn("test", "Other test", table.Words, "what echo is compared with"),
			table.NewColumn("month", "Month", table.Words, "of the echo study"), table.NewColumn("days", "Days apart", table.Count, "between the two tests"),
			table.NewColumn("echo", "Echo", table.Number, "value of the echo study that counts; none where it has none"), table.NewColumn("other", "Other", table.Number, "value of the other test"),
			table.NewColumn("difference", "Difference", table.Number, "echo less the other test"),
		},
	}
	type key struct{ measurand, test string }
	by := map[key][]counted.Correlation{}
	var keys []key
	for _, s := range r.now {
		for _, c := range s.Correlations {
			k := key{c.Measurand, c.Test}
			if by[k] == nil {
				keys = append(keys, k)
			}
			by[k] = append(by[k], c)
			cases.Add(table.TextCell(c.Title), table.TextCell(c.Unit), table.TextCell(table.InWords(c.Test)), table.TextCell(s.Date.Format("2006-01")), table.CountCell(c.Days), table.NumberCell(c.Echo), table.NumberCell(c.Other), table.NumberCell(c.Echo-c.Other))
		}
	}
	if len(keys) == 0 {
		sum.Note = "No list of other tests was taken in for studies of the period (echotally intake --correlation)."
		return []table.Table{sum}
	}
	slices.SortFunc(keys, func(a, b key) int {
		return cmp.Or(strings.Compare(a.measurand, b.measurand), strings.Compare(a.test, b.test))
	})
	slices.SortStableFunc(cases.Rows, func(a, b []table.Cell) int {
		return cmp.Or(strings.Compare(a[0].Text, b[0].Text), strings.Compare(a[2].Text, b[2].Text), strings.Compare(a[3].Text, b[3].Text), cmp.Compare(a[6].Number, b[6].Number))
	})
	together := stats.Simultaneous(table.Confidence, len(keys))
	for _, k := range keys {
		sum.Add(correlationRow(by[k], together)...)
	}
	sum.Note = fmt.Sprintf("Echo less the other test, Bland and Altman 1986; the intervals of all rows together hold with 95 %% (Bonferroni). A bias is told from 2 pairs on, limits from %d on; correlation coefficients are not shown, since they grow with the range and not with agreement. Which patients go on to another test is no matter of chance.", enoughPairs)
	return []table.Table{sum, cases}
}

func correlationRow(all []counted.Correlation, confidence float64) []table.Cell {
	var echo, other []float64
	for _, c := range all {
		if !math.IsNaN(c.Echo) && c.Days <= nearDays {
			echo, other = append(echo, c.Echo), append(other, c.Other)
		}
	}
	row := []table.Cell{table.TextCell(all[0].Measurand), table.TextCell(all[0].Title), table.TextCell(all[0].Unit), table.TextCell(table.InWords(all[0].Test)), table.CountCell(len(all)), table.CountCell(len(echo)), table.NoCell(), table.NoCell(), table.NoCell(), table.NoCell()}
	if len(echo) < 2 {
		return row
	}
	a := reliability.NewAgreement(other, echo, reliability.Usual, confidence)
	row[6], row[7] = table.EstimateCell(a.Bias, a.OfBias), table.NumberCell(a.SD)
	if len(echo) >= enoughPairs {
		row[8], row[9] = table.EstimateCell(a.Lower, a.OfLower), table.EstimateCell(a.Upper, a.OfUpper)
	}
	return row
}

// appropriateness counts how reviewers judged the requests.
func (r *builder) appropriateness() table.Table {
	t := table.Table{
		Identifier: "appropriateness", Title: "Appropriateness of requests",
		Columns: []table.Column{
			table.NewColumn("class", "Class", table.Words, "as the reviewer chose it"), table.NewColumn("studies", "Studies", table.Share, "of the studies that were judged"),
		},
	}
	by, judged := map[string]int{}, 0
	for _, s := range r.now {
		if s.Appropriateness != "" {
			by[s.Appropriateness]++
			judged++
		}
	}
	if judged == 0 {
		t.Note = "No list of judged requests was taken in for studies of the period (echotally intake --appropriateness)."
		return t
	}
	t.Note = fmt.Sprintf("Classes as reviewers chose them, of the %s studies that were judged; which ones were is the lab's choice, so that the shares hold for these.", table.Percent(stats.Proportion{Count: judged, Total: len(r.now)}))
	for _, name := range slices.Sorted(maps.Keys(by)) {
		t.Add(table.TextCell(table.InWords(name)), table.ProportionCell(by[name], judged))
	}
	return t
}
