package audit

import (
	"cmp"
	"maps"
	"slices"
	"sort"
	"strconv"
	"strings"
	"sync"
	"time"

	"echotally/internal/actionlog"
	"echotally/internal/calendar"
	"echotally/internal/counted"
	"echotally/internal/stats"
	"echotally/internal/stats/control"
	"echotally/internal/stats/funnel"
	"echotally/internal/stats/runs"
	"echotally/internal/table"
	"echotally/internal/tally"
)

// Options are the choices of the lab and what the run knows.
type Options struct {
	Period   calendar.Period
	Lab      string // "" for all labs
	Only     Part   // of the lab's studies
	Name     string // of the lab, as it is to stand on the pages; "" for that of its list of stations
	Prepared string // who prepared it, as it is to stand on the pages; a role
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
	Scales     counted.Scales
	Actions    []actionlog.Action
}

// Defaults are what a lab that chooses nothing gets: nobody is judged below 20
// studies nor compared among fewer than five, counts below five are withheld,
// and one in twenty of what is flagged may be chance (all site choice).
func Defaults() Options {
	return Options{
		Audience: "lab", Floor: 20, People: funnel.MinimumUnits, SmallCell: 5, Discovery: 0.05,
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
	Notes    Notes
	Other    *WhatIf // nil for the report of the rules in force

	Rules     []RuleCount // by identifier
	Headlines []Headline
	Followed  []Headline // measures of actions that are no headlines
	Signals   []Signal
	Chance    Chance
	Proposals []Proposal
	Effects   []Effectiveness
	Funnels   []FunnelOf
	Digits    []DigitsOf

	Agreements []AgreementOf // those that are drawn
	Tables     []table.Table

	labels  map[string]string // codes of staff, by role and pseudonym
	labName string
}

// LabName is what stands on the pages: the name the lab gives itself, else the
// one lab asked for or counted; and which part of it is counted.
func (r *Report) LabName() string {
	name := cmp.Or(r.Options.Name, r.Options.Lab, r.labName)
	if part := r.Options.Only.Words(); part != "" {
		return strings.TrimPrefix(name+", "+part, ", ")
	}
	return name
}

// labName names the labs counted, by the list of stations.
func (r *builder) labName() string {
	var names []string
	for _, s := range r.now {
		if s.Lab != "" && !slices.Contains(names, s.Lab) {
			names = append(names, s.Lab)
		}
	}
	slices.Sort(names)
	return strings.Join(names, ", ")
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
	Untold  int // studies of the period not counted, since something cannot be told
	Months  []Month12
	Chart   control.Chart // its centre is that of the last stretch
	Centres []float64     // by month
	Prime   bool          // limits widened for overdispersion (Laney)
	Runs    runs.Runs
	Judged  []int   // months of the period, by index
	Phases  []Phase // actions on this measure and changes of software, by date
}

// Month12 is one point of a chart.
type Month12 struct {
	Month time.Time
	stats.Proportion
	YearBefore stats.Proportion // the same month a year earlier
}

// Phase marks on a chart when something was done.
type Phase struct {
	At     time.Time
	Action bool   // else a change of software
	Mark   string // the number of an action in the log, a letter for a change of software
	Title  string
}

// Marks are all that is marked on the charts, by their marks.
func (r *Report) Marks() []Phase {
	by := map[string]Phase{}
	for _, h := range slices.Concat(r.Headlines, r.Followed) {
		for _, p := range h.Phases {
			by[p.Mark] = p
		}
	}
	out := slices.Collect(maps.Values(by))
	slices.SortFunc(out, func(a, b Phase) int {
		return cmp.Or(cmp.Compare(len(a.Mark), len(b.Mark)), strings.Compare(a.Mark, b.Mark))
	})
	return out
}

// builder makes a report.
type builder struct {
	opt    Options
	now    []*counted.Study // in the period
	look   []*counted.Study // in the months the charts show
	before []*counted.Study // in the same months of the year before
	labels map[string]string
	report *Report
	family []candidate
	later  []Phase // changes of software in the months shown

	eligible []*counted.Study       // those of the period that demands are counted over
	read     int                    // how many of the period were read
	times    map[class]*tally.Times // of the period
	asked    []demand               // of the period
	digits   map[string]*digits     // by measurand
}

// Build makes the report of a period from the studies of at least the months
// its charts show. Studies of other labs and dates are passed over.
func Build(studies []counted.Study, opt Options) *Report {
	r := &builder{opt: opt, report: &Report{Options: opt}}
	look := opt.Period.Look()
	for i := range studies {
		s := &studies[i]
		if !opt.takes(s) {
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
		if look.YearBefore().Holds(s.Date) {
			r.before = append(r.before, s)
		}
	}
	byUID := func(a, b *counted.Study) int { return strings.Compare(a.UID, b.UID) }
	slices.SortFunc(r.look, byUID)
	slices.SortFunc(r.now, byUID)
	slices.SortFunc(r.before, byUID)
	var beside sync.WaitGroup
	beside.Go(func() { r.digits = r.digitsOf() })
	r.countResults()
	r.asked = r.demands()
	r.label()
	r.report.labName = r.labName()
	r.denominators()
	r.report.Rules = r.ruleCounts()
	r.headlines()
	r.followed()
	r.notes()
	beside.Wait()
	tables := r.tables()
	r.settle()
	r.effects()
	r.propose()
	r.report.Tables = append([]table.Table{r.headlineTable(), r.monthTable(), r.signalTable(), r.actionTable()}, tables...)
	r.report.Tables = append(r.report.Tables, r.opt.settingsTable())
	r.report.Tables = slices.DeleteFunc(r.report.Tables, func(t table.Table) bool { return t.Identifier == "" })
	return r.report
}

// tables are those of the report in their order. What tests whether something is chance
// adds to the family of tests and is made one after the other, the rest beside it.
func (r *builder) tables() []table.Table {
	type part struct {
		make  func() []table.Table
		tests bool
	}
	one := func(make func() table.Table) part {
		return part{make: func() []table.Table { return []table.Table{make()} }}
	}
	testing := func(p part) part { return part{p.make, true} }
	parts := []part{
		one(r.years), one(r.byProtocol), one(r.byDemand), one(r.conditional), one(r.waivers), one(r.contradictions), one(r.causes), one(r.contradictionsByMonth),
		one(r.coding), testing(one(r.softwareChanges)), one(r.timeliness), one(r.volumes),
		testing(part{make: r.people}), one(r.learning), testing(one(r.endDigits)), testing(one(r.pileUps)), one(r.repeats), one(r.agreement), one(r.gradeAgreement),
		{make: r.correlations}, one(r.appropriateness), one(r.imageQuality), one(r.acquisition), one(r.unsaid), one(r.suspects),
	}
	made := make([][]table.Table, len(parts))
	fill := func(tests bool) {
		for i, p := range parts {
			if p.tests == tests {
				made[i] = p.make()
			}
		}
	}
	var beside sync.WaitGroup
	beside.Go(func() { fill(false) })
	fill(true)
	beside.Wait()
	return slices.Concat(made...)
}

func (r *builder) denominators() {
	reasons := map[string]int{}
	for _, s := range r.now {
		if why := r.opt.ineligible(s); why != "" {
			reasons[why]++
		}
	}
	r.report.Eligible = len(r.eligible)
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
	r.later = softwarePhases(r.look)
	for _, m := range r.opt.Headlines() {
		h := r.follow(m)
		for _, s := range r.now {
			if m.Untold != nil && m.Untold(s) {
				h.Untold++
			}
		}
		r.report.Headlines = append(r.report.Headlines, h)
	}
}

// follow counts a measure from month to month and draws its chart.
func (r *builder) follow(m Measure) Headline {
	months := r.opt.Period.Look().Months()
	h := Headline{Measure: m, Now: m.over(r.now), Months: make([]Month12, len(months))}
	points, baseline := make([]stats.Proportion, len(months)), 0
	for _, s := range r.look {
		if counted, met := m.Of(s); counted {
			i := slices.Index(months, calendar.MonthOf(s.Date))
			points[i].Total++
			if met {
				points[i].Count++
			}
		}
	}
	last := r.lastYear(m)
	for i, month := range months {
		h.Months[i] = Month12{month, points[i], last[i]}
		if month.Before(calendar.MonthOf(r.opt.Period.From)) {
			baseline++
		} else {
			h.Judged = append(h.Judged, i)
		}
	}
	for _, a := range r.opt.Actions {
		if a.Measure == m.Identifier && r.opt.Period.Look().Holds(a.Started) {
			h.Phases = append(h.Phases, Phase{a.Started, true, strconv.Itoa(a.Number), a.Title})
		}
	}
	if !m.OfTimes {
		h.Phases = append(h.Phases, r.later...)
	}
	slices.SortStableFunc(h.Phases, func(a, b Phase) int { return a.At.Compare(b.At) })
	r.chart(&h, points, baseline)
	return h
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
func (r *builder) headlineTable() table.Table {
	t := table.Table{
		Identifier: "headlines", Title: "Headline measures", Note: "The study is the unit. Intervals: Wilson score, 95 %; they answer what the figure says of the process, not of this period, which is counted whole.",
		Columns: []table.Column{
			table.MachineColumn("measure", "Measure", table.Words, "identifier, as used for targets and actions"), table.NewColumn("title", "Measure in words", table.Words, "what is counted as met"),
			table.NewColumn("share", "Share", table.Share, "studies met of studies counted"), table.NewColumn("target", "Target, %", table.Number, "the lab's target"),
			table.MachineColumn("meaning", "Counted", table.Words, "definition"),
		},
	}
	for _, h := range r.report.Headlines {
		t.Add(table.TextCell(h.Measure.Identifier), table.TextCell(h.Measure.Title), table.ShareCell(h.Now), table.NumberCell(100*h.Measure.Target), table.TextCell(h.Measure.Meaning))
	}
	return t
}

func (r *builder) monthTable() table.Table {
	t := table.Table{
		Identifier: "months", Title: "Headline measures by month", Note: "One row per measure and month: the points of the charts with their limits.",
		Columns: []table.Column{
			table.MachineColumn("measure", "Measure", table.Words, "identifier of the measure"), table.NewColumn("title", "Measure", table.Words, "the measure in words"), table.NewColumn("month", "Month", table.Words, "year and month"),
			table.NewColumn("share", "Share", table.Share, "studies met of studies counted"), table.NewColumn("centre", "Centre, %", table.Number, "centre line of the chart"),
			table.NewColumn("low", "Lower limit, %", table.Number, "lower control limit, three standard errors"), table.NewColumn("high", "Upper limit, %", table.Number, "upper control limit"),
			table.NewColumn("signal", "Signal", table.Words, "yes when beyond a limit"), table.NewColumn("year_before", "A year earlier", table.Share, "the same month of the year before"),
		},
	}
	for _, h := range r.report.Headlines {
		for i, m := range h.Months {
			row := []table.Cell{table.TextCell(h.Measure.Identifier), table.TextCell(h.Measure.Title), table.TextCell(m.Month.Format("2006-01")), table.ShareCell(m.Proportion), table.NoCell(), table.NoCell(), table.NoCell(), table.TextCell(""), table.ShareCell(m.YearBefore)}
			if len(h.Chart.Limits) > 0 && m.Total > 0 {
				row[4], row[5], row[6] = table.NumberCell(100*h.Centres[i]), table.NumberCell(100*h.Chart.Limits[i].Low), table.NumberCell(100*h.Chart.Limits[i].High)
				if slices.Contains(h.Chart.Signals, i) {
					row[7] = table.TextCell("yes")
				}
			}
			t.Add(row...)
		}
	}
	return t
}
