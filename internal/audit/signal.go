package audit

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"echotally/internal/stats"
	"echotally/internal/stats/control"
	"echotally/internal/stats/runs"
	"echotally/internal/table"
)

// Signal is something that is unlikely to be chance.
type Signal struct {
	Kind    SignalKind
	Measure string // measure or measurand
	Title   string // of the measurand
	Person  string // pseudonym of the ledger of whom it is about; never shown
	Where   string // month, coded person, station and software
	Text    string
	PValue  float64 // NaN for charts, which are no tests
	Lost    float64 // studies of the period that would have been met without it; 0 when it is no loss
	From    stats.Proportion
	To      stats.Proportion
}

// SignalKind says how the signal was found.
type SignalKind string

// Kinds of signal.
const (
	BeyondLimit SignalKind = "beyond-limit" // a month beyond its control limits
	UnusualRuns SignalKind = "runs"         // runs about the median
	OfPerson    SignalKind = "person"       // one person against the others
	OfSoftware  SignalKind = "software"     // one scanner before and after a change of software
	OfDigits    SignalKind = "digits"       // values ending in 0 or 5
	OfThreshold SignalKind = "threshold"    // values heaping at a threshold
)

// Chance says how often signals come by chance alone.
type Chance struct {
	Points     int     // months judged, over all charts
	Charts     int     // charts judged by runs
	FalseChart float64 // signals to expect from the charts when nothing has changed
	Tests      int     // tests in the family
	Flagged    int     // of them flagged
	Discovery  float64 // false discovery rate
}

// candidate is a test of the family with the signal it would be.
type candidate struct {
	signal Signal
	p      float64
}

func (r *builder) test(p float64, s Signal) {
	s.PValue = p
	r.family = append(r.family, candidate{s, p})
}

// normalTail is the share of points beyond three standard errors when the
// limits rest on a normal distribution.
var normalTail = math.Erfc(3 / math.Sqrt2)

// chanceBeyond is the probability that a month lies beyond its limits when
// nothing has changed. The centre line is itself estimated: a month that helped
// to set it lies nearer to it, by √(1−n/N), and one that did not lies farther
// off, by √(1+n/N); the limits are taken as that much wider or narrower.
func chanceBeyond(points []stats.Proportion, i, baseline int, c control.Chart) float64 {
	all, own := 0, points[i].Total
	for k, p := range points {
		if baseline == 0 || k < baseline {
			all += p.Total
		}
	}
	factor := 1 + float64(own)/float64(all)
	if baseline == 0 || i < baseline {
		factor = 1 - float64(own)/float64(all)
	}
	half := 3 * math.Sqrt(c.Centre*(1-c.Centre)/float64(own)) / math.Sqrt(factor)
	return control.OutsideLimits(own, c.Centre, stats.Interval{Low: math.Max(0, c.Centre-half), High: math.Min(1, c.Centre+half)})
}

func (r *builder) chartSignals(h *Headline, points []stats.Proportion) {
	for _, i := range h.Judged {
		if !slices.Contains(h.Chart.Signals, i) {
			continue
		}
		direction := "below"
		if points[i].Value() > h.Centres[i] {
			direction = "above"
		}
		r.report.Signals = append(r.report.Signals, Signal{
			Kind: BeyondLimit, Measure: h.Measure.Identifier, Where: h.Months[i].Month.Format("2006-01"), PValue: math.NaN(), To: points[i],
			Text: fmt.Sprintf("%s: %s in %s, %s the limits %s to %s", h.Measure.Title, table.Percent(points[i]), h.Months[i].Month.Format("2006-01"),
				direction, table.Rate(h.Chart.Limits[i].Low), table.Rate(h.Chart.Limits[i].High)),
		})
	}
	if h.Runs.LongestAllowed == 0 {
		return
	}
	r.report.Chance.Charts++
	r.report.Chance.FalseChart += runs.BalancedRunsFalseAlarm(h.Runs.Useful, h.Runs.LongestAllowed, h.Runs.FewestAllowed)
	if h.Runs.Signal {
		r.report.Signals = append(r.report.Signals, Signal{
			Kind: UnusualRuns, Measure: h.Measure.Identifier, PValue: math.NaN(), To: h.Now,
			Text: fmt.Sprintf("%s: months keep to one side of the median (longest run %d, allowed %d; crossings %d, at least %d)", h.Measure.Title,
				h.Runs.LongestRun, h.Runs.LongestAllowed, h.Runs.Crossings, h.Runs.FewestAllowed),
		})
	}
}

// settle applies the false discovery rate to the whole family and keeps what it
// flags.
func (r *builder) settle() {
	p := make([]float64, len(r.family))
	for i, c := range r.family {
		p[i] = c.p
	}
	flagged, _ := stats.Discoveries(p, r.opt.Discovery)
	var kept []Signal
	for i, c := range r.family {
		if flagged[i] {
			kept = append(kept, c.signal)
		}
	}
	sort.SliceStable(kept, func(i, j int) bool { return kept[i].PValue < kept[j].PValue })
	r.report.Chance.Tests, r.report.Chance.Flagged, r.report.Chance.Discovery = len(p), len(kept), r.opt.Discovery
	r.report.Signals = append(r.report.Signals, kept...)
}

// kindWords name the kinds of signals.
var kindWords = map[SignalKind]string{
	BeyondLimit: "month beyond its limits", UnusualRuns: "run of months", OfPerson: "one person and the others",
	OfSoftware: "before and after new software", OfDigits: "end digits", OfThreshold: "values at a threshold",
}

func (r *builder) signalTable() table.Table {
	c := r.report.Chance
	t := table.Table{
		Identifier: "signals", Title: "What signals",
		Note: fmt.Sprintf("Charts: %d months and %d charts were judged; when nothing has changed %.1f chart signals are to be expected. Tests: %d, of which %d are flagged at a false discovery rate of %s (Benjamini-Hochberg): about that share of the flagged is chance.",
			c.Points, c.Charts, c.FalseChart, c.Tests, c.Flagged, table.Rate(c.Discovery)),
		Columns: []table.Column{
			table.MachineColumn("kind", "Identifier", table.Words, "beyond-limit, runs, person, software, digits or threshold"), table.NewColumn("found", "Found by", table.Words, "how the signal was found, in words"), table.MachineColumn("measure", "Measure", table.Words, "measure or measurand"),
			table.NewColumn("where", "Where", table.Words, "month, coded person, or scanner"), table.NewColumn("text", "What", table.Words, "in words"),
			table.NewColumn("p_value", "p", table.Number, "p-value; none for charts"),
		},
	}
	for _, s := range r.report.Signals {
		t.Add(table.TextCell(string(s.Kind)), table.TextCell(kindWords[s.Kind]), table.TextCell(s.Measure), table.TextCell(s.Where), table.TextCell(s.Text), table.NumberCell(s.PValue))
	}
	return t
}
