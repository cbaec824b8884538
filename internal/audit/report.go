package audit

import (
	"slices"
	"sort"
	"strings"
	"time"

	"echotally/internal/stats"
)

// Options are the choices of the lab and what the run knows.
type Options struct {
	Period   Period
	Lab      string // "" for all labs
	Audience string // whom the pseudonyms of staff are drawn for
	// Mark gives a keyed hash by which pseudonyms are ordered anew for every
	// period and audience.
	Mark func(text string) string

	Cutoff   time.Time // the state of the data
	Created  time.Time
	Software string
	RuleSet  string
	Edition  string // of the guidelines, by which the limits were chosen

	Floor      int                // studies below which nobody is judged
	People     int                // people below which nobody is compared
	SmallCell  int                // counts of people below this are withheld
	Discovery  float64            // false discovery rate of the tests of a report
	Targets    map[string]float64 // by measure, 0-1
	OutOfScope []string           // base protocols outside completeness
	Standard   Standard
	Learning   Learning // rates of the learning curves
	Actions    []Action
}

// Defaults are what a lab that chooses nothing gets: nobody is judged below 20
// studies nor compared among fewer than five, counts below five are withheld,
// and one in twenty of what is flagged may be chance (all site choice).
func Defaults() Options {
	return Options{
		Audience: "lab", Floor: 20, People: stats.MinimumUnits, SmallCell: 5, Discovery: 0.05,
		OutOfScope: []string{"limited"}, Standard: DefaultStandard(), Learning: DefaultLearning(),
	}
}

// Report is the audit of one period.
type Report struct {
	Options  Options
	Received int
	Eligible int
	Excluded []Excluded // from the denominators of completeness
	Undated  int        // studies without a readable date, in no period

	Headlines []Headline
	Signals   []Signal
	Chance    Chance
	Proposals []Proposal
	Effects   []Effectiveness
	Funnels   []FunnelOf
	Digits    []DigitsOf

	Agreements []AgreementOf // those that are drawn
	Tables     []Table

	labels map[string]string // codes of staff, by role and pseudonym
}

// Excluded is a reason for not being counted.
type Excluded struct {
	Reason string
	Count  int
}

// Headline is one measure of page one over the months.
type Headline struct {
	Measure Measure
	Now     stats.Proportion
	Months  []Month12
	Chart   stats.Chart
	Prime   bool // limits widened for overdispersion (Laney)
	Runs    stats.Runs
	Judged  []int   // months of the period, by index
	Phases  []Phase // actions on this measure
}

// Month12 is one point of a chart.
type Month12 struct {
	Month time.Time
	stats.Proportion
}

// Phase marks on a chart when something was done.
type Phase struct {
	At    time.Time
	Title string
}

// builder makes a report.
type builder struct {
	opt    Options
	now    []*Study // in the period
	look   []*Study // in the months the charts show
	labels map[string]string
	report *Report
	family []candidate
}

// Build makes the report of a period from the studies of at least the months
// its charts show. Studies of other labs and dates are passed over.
func Build(studies []Study, opt Options) *Report {
	r := &builder{opt: opt, report: &Report{Options: opt}}
	look := opt.Period.Look()
	for i := range studies {
		s := &studies[i]
		if opt.Lab != "" && s.Lab != opt.Lab {
			continue
		}
		if s.Date.IsZero() {
			r.report.Undated++
		}
		if look.Holds(s.Date) {
			r.look = append(r.look, s)
		}
		if opt.Period.Holds(s.Date) {
			r.now = append(r.now, s)
		}
	}
	byUID := func(a, b *Study) int { return strings.Compare(a.UID, b.UID) }
	slices.SortFunc(r.look, byUID)
	slices.SortFunc(r.now, byUID)
	r.label()
	r.denominators()
	r.headlines()
	tables := []Table{
		r.byProtocol(), r.byDemand(), r.conditional(), r.waivers(), r.contradictions(), r.causes(), r.contradictionsByMonth(),
		r.coding(), r.softwareChanges(), r.timeliness(), r.volumes(),
	}
	tables = append(tables, r.people()...)
	tables = append(tables, r.learning(), r.endDigits(), r.pileUps(), r.repeats(), r.agreement(), r.acquisition(), r.suspects())
	r.settle()
	r.effects()
	r.propose()
	r.report.Tables = append([]Table{r.headlineTable(), r.monthTable(), r.signalTable(), r.actionTable()}, tables...)
	r.report.Tables = append(r.report.Tables, r.opt.settingsTable())
	r.report.Tables = slices.DeleteFunc(r.report.Tables, func(t Table) bool { return t.Identifier == "" })
	return r.report
}

func (r *builder) denominators() {
	reasons := map[string]int{}
	for _, s := range r.now {
		if why := r.opt.ineligible(s); why != "" {
			reasons[why]++
		} else {
			r.report.Eligible++
		}
	}
	r.report.Received = len(r.now)
	for why, n := range reasons {
		r.report.Excluded = append(r.report.Excluded, Excluded{why, n})
	}
	sort.Slice(r.report.Excluded, func(i, j int) bool {
		a, b := r.report.Excluded[i], r.report.Excluded[j]
		return a.Count > b.Count || a.Count == b.Count && a.Reason < b.Reason
	})
}

// headlines counts the measures of page one and judges their charts.
func (r *builder) headlines() {
	months := r.opt.Period.Look().Months()
	byMonth := map[time.Time][]*Study{}
	for _, s := range r.look {
		byMonth[monthOf(s.Date)] = append(byMonth[monthOf(s.Date)], s)
	}
	for _, m := range r.opt.Headlines() {
		h := Headline{Measure: m, Now: m.over(r.now)}
		var points []stats.Proportion
		baseline := 0
		for i, month := range months {
			p := m.over(byMonth[month])
			h.Months, points = append(h.Months, Month12{month, p}), append(points, p)
			if month.Before(monthOf(r.opt.Period.From)) {
				baseline++
			} else {
				h.Judged = append(h.Judged, i)
			}
		}
		for _, a := range r.opt.Actions {
			if a.Measure == m.Identifier && r.opt.Period.Look().Holds(a.Started) {
				h.Phases = append(h.Phases, Phase{a.Started, a.Title})
			}
		}
		r.chart(&h, points, baseline)
		r.report.Headlines = append(r.report.Headlines, h)
	}
}

// enoughBaseline is how many months before the period make a baseline of their
// own; with fewer the centre line is that of all months shown (site choice).
const enoughBaseline = 6

func (r *builder) chart(h *Headline, points []stats.Proportion, baseline int) {
	if countPoints(points[:baseline]) < enoughBaseline {
		baseline = 0
	}
	if countPoints(points) < 2 {
		return
	}
	h.Chart = stats.PChart(points, baseline)
	if stats.Overdispersed(points, baseline) && countPoints(points) >= enoughBaseline {
		h.Chart, h.Prime = stats.PrimeChart(points, baseline), true
	}
	h.Runs = stats.AnalyseRuns(h.Chart.Values)
	r.chartSignals(h, points, baseline)
}

func countPoints(points []stats.Proportion) int {
	n := 0
	for _, p := range points {
		if p.Total > 0 {
			n++
		}
	}
	return n
}

// headlineTable is page one as a table.
func (r *builder) headlineTable() Table {
	t := Table{
		Identifier: "headlines", Title: "Headline measures", Note: "The study is the unit. Intervals: Wilson score, 95 %; they answer what the figure says of the process, not of this period, which is counted whole.",
		Columns: []Column{
			column("measure", "Measure", Words, "identifier, as used for targets and actions"), column("title", "In words", Words, "what is counted as met"),
			column("share", "Share", Share, "studies met of studies counted"), column("target", "Target, %", Number, "the lab's target"),
			column("meaning", "Counted", Words, "definition"),
		},
	}
	for _, h := range r.report.Headlines {
		t.add(words(h.Measure.Identifier), words(h.Measure.Title), share(h.Now), number(100*h.Measure.Target), words(h.Measure.Meaning))
	}
	return t
}

func (r *builder) monthTable() Table {
	t := Table{
		Identifier: "months", Title: "Headline measures by month", Note: "One row per measure and month: the points of the charts with their limits.",
		Columns: []Column{
			column("measure", "Measure", Words, "identifier of the measure"), column("month", "Month", Words, "year and month"),
			column("share", "Share", Share, "studies met of studies counted"), column("centre", "Centre, %", Number, "centre line of the chart"),
			column("low", "Lower limit, %", Number, "lower control limit, three standard errors"), column("high", "Upper limit, %", Number, "upper control limit"),
			column("signal", "Signal", Words, "yes when beyond a limit"),
		},
	}
	for _, h := range r.report.Headlines {
		for i, m := range h.Months {
			row := []Cell{words(h.Measure.Identifier), words(m.Month.Format("2006-01")), share(m.Proportion), none(), none(), none(), words("")}
			if len(h.Chart.Limits) > 0 && m.Total > 0 {
				row[3], row[4], row[5] = number(100*h.Chart.Centre), number(100*h.Chart.Limits[i].Low), number(100*h.Chart.Limits[i].High)
				if slices.Contains(h.Chart.Signals, i) {
					row[6] = words("yes")
				}
			}
			t.add(row...)
		}
	}
	return t
}
