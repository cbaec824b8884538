package agreement

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"echotally/internal/layout"
	"echotally/internal/review"
	"echotally/internal/stats"
	"echotally/internal/stats/kappa"
	"echotally/internal/stats/reliability"
	"echotally/internal/table"
)

// Pass is the share of pairs that have to lie within the tolerance, and Enough how
// many pairs are needed before a reader is judged by it. 80 %: the rule of a
// published programme for the reproducibility of echo laboratories, J Am Soc
// Echocardiogr (secondary source); 10: site choice.
const (
	Pass   = 0.80
	Enough = 10
)

// enoughForKappa is the least number of cases for a kappa (site choice: below, its
// interval spans nearly all).
const enoughForKappa = 30

// Report is how far those who read again agree with what was reported.
type Report struct {
	Draws   []*review.Draw
	Readers int
	Tables  []table.Table
	Plots   []Plot
	Curves  []Curve
}

// Plot is the pairs of one measurement, to be drawn.
type Plot struct {
	Title, Unit   string
	First, Second []float64
	Test          reliability.Agreement
}

// pair is one thing of one case, as reported and as read again.
type pair struct {
	draw, at   int // number of the draw and of the case
	date       time.Time
	reader     string
	own        bool // the reader is one of those who reported
	item       string
	numeric    bool
	was, is    float64
	wasG, isG  string
	unmeasured bool
	missing    bool // nothing was reported to compare with
}

// Compare compares what was entered with what was reported. Code names a reader
// without naming the person.
func Compare(items *review.Items, draws []*review.Draw, entries []review.Entry, code func(pseudonym string) string) *Report {
	r := &Report{Draws: draws}
	c := &comparison{items: items, code: code, report: r}
	for _, d := range draws {
		for _, e := range entries {
			if e.Draw == d.Number {
				c.entry(d, e)
			}
		}
	}
	r.Readers = len(c.readers())
	r.Tables = []table.Table{c.coverage(draws), c.measurements(), c.intraclass(), c.grades(), c.byReader(), c.learning(), c.disagreements()}
	return r
}

type comparison struct {
	items  *review.Items
	code   func(string) string
	pairs  []pair
	report *Report
}

func (c *comparison) entry(d *review.Draw, e review.Entry) {
	for _, a := range e.Rows {
		of := d.Find(a.Case)
		if of == nil {
			continue
		}
		date, _ := time.Parse(time.DateOnly, of.Date) // zero where it has none
		p := pair{draw: d.Number, at: a.Case, date: date, reader: e.Reader, own: slices.Contains(of.Readers, e.Reader), item: a.Item, unmeasured: a.NotMeasurable}
		if c.items.Grade(a.Item) != nil {
			p.wasG, p.isG = of.Reported.Grades[a.Item], a.Grade
			p.missing = p.wasG == ""
		} else {
			x, ok := of.Reported.Values[a.Item]
			p.numeric, p.was, p.missing = true, x, !ok
			if a.Value != nil {
				p.is = *a.Value
			}
		}
		c.pairs = append(c.pairs, p)
	}
}

// of are the pairs of an item that can be compared, one per case: of several
// readers of a case the first who entered it, so that cases stay independent.
func (c *comparison) of(items []string, keep func(pair) bool) []pair {
	var out []pair
	seen := map[string]bool{}
	for _, p := range c.pairs {
		key := fmt.Sprint(p.draw, p.at, p.item)
		if !slices.Contains(items, p.item) || p.unmeasured || p.missing || seen[key] || !keep(p) {
			continue
		}
		seen[key] = true
		out = append(out, p)
	}
	return out
}

func everyone(pair) bool   { return true }
func others(p pair) bool   { return !p.own }
func themself(p pair) bool { return p.own }

func (c *comparison) readers() []string {
	var out []string
	for _, p := range c.pairs {
		if !slices.Contains(out, p.reader) {
			out = append(out, p.reader)
		}
	}
	slices.SortFunc(out, func(a, b string) int { return cmp.Compare(c.code(a), c.code(b)) })
	return out
}

// coverage tells what was drawn and what of it was entered.
func (c *comparison) coverage(draws []*review.Draw) table.Table {
	t := table.Table{
		Identifier: "draws", Title: "What was drawn and read again",
		Note: "Cases are drawn at random; the order of drawing is the SHA-256 of seed, line feed and Study Instance UID. A case counts as read when at least one thing of it was entered.",
		Columns: []table.Column{
			{Identifier: "draw", Title: "Draw", Kind: table.Count, Meaning: "number of the draw"}, {Identifier: "period", Title: "Period", Kind: table.Words, Meaning: "whose studies were drawn from"},
			{Identifier: "seed", Title: "Seed", Kind: table.Words, Meaning: "by which anybody draws the same cases"}, {Identifier: "frame", Title: "Frame", Kind: table.Count, Meaning: "studies that could be drawn"},
			{Identifier: "read", Title: "Cases read", Kind: table.Share, Meaning: "cases read again of those drawn"},
			{Identifier: "unmeasured", Title: "Not measurable", Kind: table.Count, Meaning: "things a second reader could not measure"},
		},
	}
	for _, d := range draws {
		read, unmeasured := map[int]bool{}, 0
		for _, p := range c.pairs {
			if p.draw == d.Number {
				read[p.at] = true
				if p.unmeasured {
					unmeasured++
				}
			}
		}
		frame := 0
		for _, s := range d.Strata {
			frame += s.Studies
		}
		t.Add(table.CountCell(d.Number), table.TextCell(d.Period), table.TextCell(d.Seed), table.CountCell(frame),
			table.ShareCell(stats.Proportion{Count: len(read), Total: len(d.Cases)}), table.CountCell(unmeasured))
	}
	return t
}

// measurements is the agreement in numbers.
func (c *comparison) measurements() table.Table {
	t := table.Table{
		Identifier: "agreement", Title: "Agreement in measurements",
		Note: fmt.Sprintf("Second less reported value, one pair per case. Limits hold 95 %% of differences (Bland and Altman 1986, 1.96 SD); slope: regression of the difference on the mean of both, whose P tells of bias that grows with size (Bland and Altman 1999); ICC (2,1): absolute agreement of single readings (Shrout and Fleiss 1979), which grows with the spread of the patients; repeatability: 1.96·√2·within-subject SD; coverage: pairs within the tolerance. Intervals 95 %%; below %d pairs they tell little. Reading stored images again understates how far two recordings differ.", Enough),
		Columns: []table.Column{
			{Identifier: "measurement", Title: "Measurement", Kind: table.Words, Meaning: "what was measured again"}, {Identifier: "unit", Title: "Unit", Kind: table.Words, Meaning: "UCUM unit of the figures"},
			{Identifier: "readers", Title: "Compared", Kind: table.Words, Meaning: "with another reader, or the reader with what was reported by the same"},
			{Identifier: "pairs", Title: "Pairs", Kind: table.Count, Meaning: "cases with both values"},
			{Identifier: "bias", Title: "Bias", Kind: table.Estimate, Meaning: "mean difference"}, {Identifier: "lower", Title: "Lower limit", Kind: table.Estimate, Meaning: "lower limit of agreement"},
			{Identifier: "upper", Title: "Upper limit", Kind: table.Estimate, Meaning: "upper limit of agreement"}, {Identifier: "slope_p", Title: "P of slope", Kind: table.Number, Meaning: "P of no bias that grows with size"},
			{Identifier: "icc", Title: "ICC (2,1)", Kind: table.Estimate, Meaning: "intraclass correlation, absolute agreement, single readings"},
			{Identifier: "within_sd", Machine: true, Title: "Within SD", Kind: table.Number, Meaning: "within-subject standard deviation"}, {Identifier: "cv", Title: "CV, %", Kind: table.Number, Meaning: "within-subject coefficient of variation, root mean square"},
			{Identifier: "repeatability", Title: "Repeatability", Kind: table.Number, Meaning: "repeatability coefficient"},
			{Identifier: "within_tolerance", Title: "Coverage", Kind: table.Share, Meaning: "coverage probability: pairs no further apart than the lab allows"}, {Identifier: "tolerance", Title: "Tolerance", Kind: table.Words, Meaning: "how far two readings may lie apart"},
		},
	}
	for _, m := range c.items.Measurements {
		for _, one := range m.Measurands {
			for _, who := range []struct {
				words string
				keep  func(pair) bool
			}{{"another reader", others}, {"same reader", themself}} {
				if pairs := c.of([]string{one.Identifier}, who.keep); len(pairs) > 0 {
					c.measured(&t, m, one.Title, who.words, pairs)
				}
			}
		}
	}
	return t
}

func (c *comparison) measured(t *table.Table, m review.Measurement, title, who string, pairs []pair) {
	var first, second []float64
	var groups [][]float64
	agree := stats.Proportion{Total: len(pairs)}
	for _, p := range pairs {
		first, second, groups = append(first, p.was), append(second, p.is), append(groups, []float64{p.was, p.is})
		if m.Agree(p.was, p.is) {
			agree.Count++
		}
	}
	row := []table.Cell{table.TextCell(title), table.TextCell(m.Unit.Code()), table.TextCell(who), table.CountCell(len(pairs))}
	for range 8 {
		row = append(row, table.NoCell())
	}
	row = append(row, table.ShareCell(agree), table.TextCell(m.Tolerance()))
	if len(pairs) >= 3 {
		a := reliability.NewAgreement(first, second, reliability.Usual, table.Confidence)
		row[4], row[5], row[6] = table.EstimateCell(a.Bias, a.OfBias), table.EstimateCell(a.Lower, a.OfLower), table.EstimateCell(a.Upper, a.OfUpper)
		row[7] = table.NumberCell(reliability.ProportionalBias(first, second, table.Confidence).P)
		icc := reliability.NewIntraclass(groups, table.Confidence).Of(reliability.RandomSingle)
		row[8] = table.EstimateCell(icc.Value, icc.Interval)
		repeat := reliability.NewRepeatability(groups, table.Confidence)
		row[9], row[11] = table.NumberCell(repeat.Within), table.NumberCell(repeat.Coefficient)
		row[10] = table.NumberCell(100 * stats.WithinSubjectCV(groups))
		if who != "same reader" && len(pairs) >= Enough {
			c.report.Plots = append(c.report.Plots, Plot{title, m.Unit.Code(), first, second, a})
		}
	}
	t.Add(row...)
}

// grades is the agreement in words.
func (c *comparison) grades() table.Table {
	t := table.Table{
		Identifier: "grades", Title: "Agreement in grades",
		Note: fmt.Sprintf("One pair per case in which both gave a grade. Weighted kappa with quadratic weights (Cohen 1968) and the interval of Fleiss, Cohen and Everitt 1969, from %d cases on: below, it is noise. Chance agreement stands beside it, since the same agreement gives a low kappa where nearly all cases have one grade (Feinstein and Cicchetti 1990). Where as many cases were graded by two second readers or more, the kappa of all readings (Fleiss 1971, without weights) stands beside it.", enoughForKappa),
		Columns: []table.Column{
			{Identifier: "lesion", Title: "Graded", Kind: table.Words, Meaning: "lesion"}, {Identifier: "same", Title: "Same grade", Kind: table.Share, Meaning: "cases with the same grade twice"},
			{Identifier: "near", Title: "Within one step", Kind: table.Share, Meaning: "cases with grades at most one step of the scale apart"},
			{Identifier: "kappa", Title: "Weighted kappa", Kind: table.Estimate, Meaning: "quadratic weights"}, {Identifier: "chance", Title: "Expected by chance", Kind: table.Number, Meaning: "weighted agreement of independent readings, 0 to 1"},
			{Identifier: "many", Title: "Kappa of all", Kind: table.Number, Meaning: "kappa of Fleiss 1971 over the report and all second readers, cases with equally many readings"}, {Identifier: "unreported", Title: "Not reported", Kind: table.Count, Meaning: "cases that a second reader graded and the report did not"},
		},
	}
	for _, g := range c.items.Grades {
		crossed := make([][]int, len(g.Scale))
		for i := range crossed {
			crossed[i] = make([]int, len(g.Scale))
		}
		same, near, unreported := stats.Proportion{}, stats.Proportion{}, 0
		for _, p := range c.pairs {
			if p.item == g.Lesion && p.missing && !p.unmeasured {
				unreported++
			}
		}
		for _, p := range c.of([]string{g.Lesion}, everyone) {
			i, k := slices.Index(g.Scale, p.wasG), slices.Index(g.Scale, p.isG)
			if i < 0 || k < 0 {
				continue // the scale was another one then
			}
			crossed[i][k]++
			same.Total, near.Total = same.Total+1, near.Total+1
			if i == k {
				same.Count++
			}
			if g.Steps(p.wasG, p.isG) <= 1 {
				near.Count++
			}
		}
		if same.Total+unreported == 0 {
			continue
		}
		row := []table.Cell{table.TextCell(g.Title), table.ShareCell(same), table.ShareCell(near), table.NoCell(), table.NoCell(), c.allReadings(g), table.CountCell(unreported)}
		if same.Total >= enoughForKappa {
			k := kappa.NewKappa(crossed, kappa.Quadratic, table.Confidence)
			row[3], row[4] = table.EstimateCell(k.Value, k.Interval), table.NumberCell(k.Chance)
		}
		t.Add(row...)
	}
	return t
}

// allReadings is the kappa of the report and all second readers, of the cases with
// the commonest number of readings above two.
func (c *comparison) allReadings(g review.Grade) table.Cell {
	cases := map[[2]int][]string{}
	for _, p := range c.pairs {
		if p.item != g.Lesion || p.missing || p.unmeasured || slices.Index(g.Scale, p.wasG) < 0 || slices.Index(g.Scale, p.isG) < 0 {
			continue
		}
		of := [2]int{p.draw, p.at}
		if cases[of] == nil {
			cases[of] = []string{p.wasG}
		}
		cases[of] = append(cases[of], p.isG)
	}
	byReadings := map[int][][]int{}
	for _, given := range cases {
		counts := make([]int, len(g.Scale))
		for _, grade := range given {
			counts[slices.Index(g.Scale, grade)]++
		}
		byReadings[len(given)] = append(byReadings[len(given)], counts)
	}
	var most [][]int
	for n, of := range byReadings {
		if n > 2 && len(of) > len(most) {
			most = of
		}
	}
	if len(most) < enoughForKappa {
		return table.NoCell()
	}
	return table.NumberCell(kappa.NewManyReaders(most).Value)
}

// within reports whether the two readings of a pair agree.
func (c *comparison) within(p pair) bool {
	if p.numeric {
		m := c.items.Measurement(p.item)
		return m != nil && m.Agree(p.was, p.is)
	}
	return c.items.Grade(p.item).Agree(p.wasG, p.isG)
}

// byReader tells who should read the training set again.
func (c *comparison) byReader() table.Table {
	t := table.Table{
		Identifier: "readers", Title: "By reader", Note: fmt.Sprintf("Things read again that lie within the tolerance of what was reported, of cases that others reported. From %d on, fewer than %.0f %% ask for reading the training set again; a difference is between two readings and does not say whose is right. Things of one case are not independent: the interval is too narrow.", Enough, 100*Pass),
		Columns: []table.Column{
			{Identifier: "reader", Title: "Reader", Kind: table.Words, Meaning: "code of this report"}, {Identifier: "cases", Title: "Cases", Kind: table.Count, Meaning: "cases with something entered"},
			{Identifier: "within", Title: "Within tolerance", Kind: table.Share, Meaning: "things within the tolerance of those compared"}, {Identifier: "verdict", Title: "What follows", Kind: table.Words, Meaning: "by the rule above"},
		},
	}
	for _, name := range c.readers() {
		p, cases := c.shareOf(name, everything)
		verdict := "agrees with what was reported"
		switch {
		case p.Total < Enough:
			verdict = "too few to tell"
		case p.Value() < Pass:
			verdict = "repeat the training set: most differ in " + c.worst(name)
		}
		t.Add(table.TextCell(c.code(name)), table.CountCell(cases), table.ShareCell(p), table.TextCell(verdict))
	}
	return t
}

func everything(string) bool { return true }

// shareOf is how much of what a reader compared lies within the tolerance.
func (c *comparison) shareOf(reader string, keep func(item string) bool) (stats.Proportion, int) {
	out, cases := stats.Proportion{}, map[[2]int]bool{}
	for _, p := range c.pairs {
		if p.reader != reader {
			continue
		}
		cases[[2]int{p.draw, p.at}] = true
		if p.missing || p.unmeasured || p.own || !keep(p.item) {
			continue
		}
		out.Total++
		if c.within(p) {
			out.Count++
		}
	}
	return out, len(cases)
}

// worst names what a reader disagrees in most.
func (c *comparison) worst(reader string) string {
	best, name := math.Inf(1), ""
	for _, p := range c.pairs {
		if p.reader != reader {
			continue
		}
		if s, _ := c.shareOf(reader, func(item string) bool { return item == p.item }); s.Total > 0 && s.Value() < best {
			best, name = s.Value(), p.item
		}
	}
	return c.titleOf(name)
}

func (c *comparison) titleOf(item string) string {
	if g := c.items.Grade(item); g != nil {
		return strings.ToLower(g.Title[:1]) + g.Title[1:] + ", grade"
	}
	if m := c.items.Measurement(item); m != nil {
		return m.Title(item)
	}
	return item
}

// Short says the most important in a few lines.
func (r *Report) Short() []string {
	read := stats.Proportion{}
	for _, row := range r.Table("draws").Rows {
		read.Count, read.Total = read.Count+row[4].Share.Count, read.Total+row[4].Share.Total
	}
	out := []string{fmt.Sprintf("%d of %d cases were read again", read.Count, read.Total)}
	if r.Readers > 0 {
		out[0] += ", by " + layout.CountOf(r.Readers, "reader", "readers")
	}
	below, enough := 0, 0
	for _, row := range r.Table("agreement").Rows {
		within := row[12].Share
		if row[2].Text == "same reader" || within.Total < Enough {
			continue
		}
		if enough++; within.Value() < Pass {
			below++
			out = append(out, fmt.Sprintf("%s: %d of %d pairs within %s, fewer than %.0f %%", row[0].Text, within.Count, within.Total, row[13].Text, 100*Pass))
		}
	}
	switch {
	case enough == 0:
		out = append(out, fmt.Sprintf("cannot tell of any measurement how far readers agree: none has %d pairs of another reader", Enough))
	case below == 0:
		out = append(out, fmt.Sprintf("none of %s with %d pairs or more lies below %.0f %% within its tolerance", layout.CountOf(enough, "measurement", "measurements"), Enough, 100*Pass))
	}
	for _, row := range r.Table("readers").Rows {
		if strings.HasPrefix(row[3].Text, "repeat") {
			out = append(out, row[0].Text+": "+row[3].Text)
		}
	}
	return out
}

// Table is the table with the name, which must be one of the report.
func (r *Report) Table(identifier string) table.Table {
	return r.Tables[slices.IndexFunc(r.Tables, func(t table.Table) bool { return t.Identifier == identifier })]
}
