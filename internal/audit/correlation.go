package audit

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"echotally/internal/counted"
	"echotally/internal/stats"
)

// nearDays is how far apart the tests of a pair may be (site choice): with more
// the patient may have changed.
const nearDays = 30

// correlations are the tables of how echo findings compare with other tests: in
// sum, and case by case without anything that names the study.
func (r *builder) correlations() []Table {
	sum := Table{
		Identifier: "correlation", Title: "Comparison with other tests",
		Columns: []Column{
			machine("measurand", "Identifier", Words, "identifier of the measurand"), column("title", "Measurement", Words, "title of the measurand"), column("unit", "Unit", Words, "UCUM unit of the figures"),
			column("test", "Other test", Words, "what echo is compared with"), column("listed", "Listed", Count, "comparisons in the lab's list for studies of the period"),
			column("pairs", "Compared", Count, fmt.Sprintf("of them with a value of the echo study, at most %d days apart", nearDays)),
			column("bias", "Bias", Estimate, "mean of echo less the other test, with its interval"), column("sd", "SD", Number, "standard deviation of the differences"),
			column("lower", "Lower limit", Estimate, "lower limit of agreement, bias − 1.96 SD, with its interval"), column("upper", "Upper limit", Estimate, "upper limit of agreement, with its interval"),
		},
	}
	cases := Table{
		Identifier: "correlation-cases", Title: "Comparisons with other tests, case by case", Note: "One row for each comparison of the lab's list. Nothing names the study.",
		Columns: []Column{
			column("title", "Measurement", Words, "title of the measurand"), column("unit", "Unit", Words, "UCUM unit of the figures"), column("test", "Other test", Words, "what echo is compared with"),
			column("month", "Month", Words, "of the echo study"), column("days", "Days apart", Count, "between the two tests"),
			column("echo", "Echo", Number, "value of the echo study that counts; none where it has none"), column("other", "Other", Number, "value of the other test"),
			column("difference", "Difference", Number, "echo less the other test"),
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
			cases.Add(TextCell(c.Title), TextCell(c.Unit), TextCell(inWords(c.Test)), TextCell(s.Date.Format("2006-01")), CountCell(c.Days), NumberCell(c.Echo), NumberCell(c.Other), NumberCell(c.Echo-c.Other))
		}
	}
	if len(keys) == 0 {
		sum.Note = "No list of other tests was taken in for studies of the period (echotally intake --correlation)."
		return []Table{sum}
	}
	slices.SortFunc(keys, func(a, b key) int {
		return cmp.Or(strings.Compare(a.measurand, b.measurand), strings.Compare(a.test, b.test))
	})
	slices.SortStableFunc(cases.Rows, func(a, b []Cell) int {
		return cmp.Or(strings.Compare(a[0].Text, b[0].Text), strings.Compare(a[2].Text, b[2].Text), strings.Compare(a[3].Text, b[3].Text), cmp.Compare(a[6].Number, b[6].Number))
	})
	together := stats.Simultaneous(Confidence, len(keys))
	for _, k := range keys {
		sum.Add(correlationRow(by[k], together)...)
	}
	sum.Note = fmt.Sprintf("Echo less the other test, Bland and Altman 1986; the intervals of all rows together hold with 95 %% (Bonferroni). A bias is told from 2 pairs on, limits from %d on; correlation coefficients are not shown, since they grow with the range and not with agreement. Which patients go on to another test is no matter of chance.", enoughPairs)
	return []Table{sum, cases}
}

func correlationRow(all []counted.Correlation, confidence float64) []Cell {
	var echo, other []float64
	for _, c := range all {
		if !math.IsNaN(c.Echo) && c.Days <= nearDays {
			echo, other = append(echo, c.Echo), append(other, c.Other)
		}
	}
	row := []Cell{TextCell(all[0].Measurand), TextCell(all[0].Title), TextCell(all[0].Unit), TextCell(inWords(all[0].Test)), CountCell(len(all)), CountCell(len(echo)), NoCell(), NoCell(), NoCell(), NoCell()}
	if len(echo) < 2 {
		return row
	}
	a := stats.NewAgreement(other, echo, stats.Usual, confidence)
	row[6], row[7] = EstimateCell(a.Bias, a.OfBias), NumberCell(a.SD)
	if len(echo) >= enoughPairs {
		row[8], row[9] = EstimateCell(a.Lower, a.OfLower), EstimateCell(a.Upper, a.OfUpper)
	}
	return row
}

// appropriateness counts how reviewers judged the requests.
func (r *builder) appropriateness() Table {
	t := Table{
		Identifier: "appropriateness", Title: "Appropriateness of requests",
		Columns: []Column{
			column("class", "Class", Words, "as the reviewer chose it"), column("studies", "Studies", Share, "of the studies that were judged"),
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
	t.Note = fmt.Sprintf("Classes as reviewers chose them, of the %s studies that were judged; which ones were is the lab's choice, so that the shares hold for these.", Percent(stats.Proportion{Count: judged, Total: len(r.now)}))
	for _, name := range sortedNames(by) {
		t.Add(TextCell(inWords(name)), proportion(by[name], judged))
	}
	return t
}
