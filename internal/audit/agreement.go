package audit

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"

	"echotally/internal/counted"
	"echotally/internal/stats"
	"echotally/internal/stats/reliability"
	"echotally/internal/table"
)

// AgreementOf is how far two readings of one quantity lie apart, a pair for
// each study.
type AgreementOf struct {
	Compared      counted.Compared
	Title, Unit   string
	First, Second []float64
	Identical     int // pairs of reports left out, since they may be copies
	Test          reliability.Agreement
	Repeat        reliability.Repeatability
}

// enoughPairs is the least number of studies for a row (site choice): with 20
// the interval of a limit reaches 0.8 standard deviations to either side.
const enoughPairs = 20

// agreementCharts is how many are drawn (site choice): one line of a page.
const agreementCharts = 2

// compared gathers the pairs of a quantity.
type compared struct {
	AgreementOf
	groups [][]float64
	last   *counted.Study // that gave a pair, or might have
}

// agreements gathers all pairs of the period: those of reports, and of the beats
// of one report the first two. A study gives one pair for a quantity, the first
// as reported, since pairs of one study are not independent.
func (r *builder) agreements() []*compared {
	by := map[counted.Compared]*byQuantity[compared]{}
	for _, s := range r.now {
		of := func(is counted.Compared, q *counted.Quantity) *compared {
			if by[is] == nil {
				by[is] = newByQuantity[compared]()
			}
			c := by[is].of(q, func(q *counted.Quantity) compared {
				return compared{AgreementOf: AgreementOf{Compared: is, Title: q.Title, Unit: q.Unit}}
			})
			if c.last == s {
				return nil
			}
			c.last = s
			return c
		}
		for _, p := range s.Pairs {
			c := of(p.Compared, p.Quantity)
			switch {
			case c == nil:
			case p.Identical:
				c.Identical++
			default:
				c.add(p.First, p.Second, []float64{p.First, p.Second})
			}
		}
		for _, one := range s.Spreads {
			if c := of(counted.RepeatedBeats, one.Quantity); c != nil {
				c.add(one.Readings[0], one.Readings[1], one.Readings)
			}
		}
	}
	var all []*compared
	for _, some := range by {
		all = slices.AppendSeq(all, maps.Values(some.named))
	}
	slices.SortFunc(all, func(a, b *compared) int {
		return cmp.Or(cmp.Compare(rankOf(a.Compared), rankOf(b.Compared)), cmp.Compare(len(b.First), len(a.First)), cmp.Compare(a.Title, b.Title), cmp.Compare(a.Unit, b.Unit))
	})
	return all
}

func rankOf(c counted.Compared) int {
	return slices.Index([]counted.Compared{counted.TwoObservers, counted.OneObserver, counted.WhoeverWrote, counted.RepeatedBeats}, c)
}

func (c *compared) add(first, second float64, group []float64) {
	c.First, c.Second, c.groups = append(c.First, first), append(c.Second, second), append(c.groups, group)
}

// drawn chooses what is drawn: biases that are unlikely to be nothing, reports
// before beats, the largest in their standard errors; where there are none, what
// most studies tell.
func drawn(all []AgreementOf) []AgreementOf {
	beyond := func(a AgreementOf) float64 {
		return math.Abs(a.Test.Bias) * math.Sqrt(float64(a.Test.Pairs)) / a.Test.SD
	}
	sure := slices.DeleteFunc(slices.Clone(all), func(a AgreementOf) bool { return a.Test.OfBias.Low <= 0 && a.Test.OfBias.High >= 0 })
	slices.SortStableFunc(sure, func(a, b AgreementOf) int {
		return cmp.Or(cmp.Compare(rankOf(a.Compared), rankOf(b.Compared)), cmp.Compare(beyond(b), beyond(a)))
	})
	if len(sure) == 0 {
		sure = slices.Clone(all)
	}
	return sure[:min(agreementCharts, len(sure))]
}

// agreement is the table of them.
func (r *builder) agreement() table.Table {
	t := table.Table{
		Identifier: "agreement", Title: "Agreement of two readings", PlainMeans: "whose bias may be nothing, many being looked at",
		Columns: []table.Column{
			table.NewColumn("compared", "Compared", table.Words, "two beats: the first two of one report; two observers, one observer: two reports of one study; two reports: the same, and whether by one or two observers is not told"),
			table.NewColumn("measurand", "Measurement", table.Words, "title of the measurand"), table.NewColumn("unit", "Unit", table.Words, "UCUM unit of the figures"),
			table.NewColumn("studies", "Studies", table.Count, "studies with a pair, one pair each"), table.NewColumn("identical", "Same", table.Count, "further studies in which two reports give the same value, left out"),
			table.NewColumn("bias", "Bias", table.Estimate, "mean of second less first, with its interval"), table.NewColumn("sd", "SD", table.Number, "standard deviation of the differences"),
			table.NewColumn("lower", "Lower limit", table.Estimate, "lower limit of agreement, bias − 1.96 SD, with its interval"),
			table.NewColumn("upper", "Upper limit", table.Estimate, "upper limit of agreement, bias + 1.96 SD, with its interval"),
			table.NewColumn("repeatability", "Repeatability", table.Estimate, "coefficient of repeatability, 1.96·√2 of the within-study standard deviation over all beats, with its interval"),
			table.MachineColumn("growth", "Grows with size", table.Number, "rank correlation of the size of the difference with the mean; where it is large, limits in the unit do not hold over the range"),
		},
	}
	all := r.agreements()
	shown := slices.DeleteFunc(slices.Clone(all), func(c *compared) bool { return len(c.First) < enoughPairs })
	few := len(all) - len(shown)
	together := stats.Simultaneous(table.Confidence, len(shown))
	for _, c := range shown {
		c.Test, c.Repeat = reliability.NewAgreement(c.First, c.Second, reliability.Usual, together), reliability.NewRepeatability(c.groups, together)
		r.report.Agreements = append(r.report.Agreements, c.AgreementOf)
		a := c.Test
		t.AddPlainIf(a.OfBias.Low <= 0 && a.OfBias.High >= 0, table.TextCell(string(c.Compared)), table.TextCell(c.Title), table.TextCell(c.Unit), table.CountCell(a.Pairs), table.CountCell(c.Identical), table.EstimateCell(a.Bias, a.OfBias), table.NumberCell(a.SD),
			table.EstimateCell(a.Lower, a.OfLower), table.EstimateCell(a.Upper, a.OfUpper), table.EstimateCell(c.Repeat.Coefficient, c.Repeat.Interval), table.NumberCell(a.Growth))
	}
	r.report.Agreements = drawn(r.report.Agreements)
	untold := 0
	for _, s := range r.now {
		untold += s.Untold
	}
	t.Note = fmt.Sprintf("Bland and Altman 1986, limits at 1.96 standard deviations. Like is compared with like: the same view, method, phase and site; readings of an image whose view is not stated may be of two planes and are no pair (%d times several readings in a report were left out for that). The intervals of all rows together hold with 95 %% (Bonferroni), since many rows are looked at. Two reports that give the same value may have it from each other: such pairs are counted and left out, so that limits are rather too wide. Differences between beats hold the patient's own variation. From %d studies on; quantities with fewer, not shown: %d.", untold, enoughPairs, few)
	return t
}
