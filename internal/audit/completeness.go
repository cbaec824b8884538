package audit

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"sort"
	"strings"

	"echotally/internal/calendar"
	"echotally/internal/counted"
	"echotally/internal/finding"
	"echotally/internal/stats"
	"echotally/internal/stats/control"
	"echotally/internal/table"
	"echotally/internal/tally"
)

// demand is a completeness rule counted over the eligible studies.
type demand struct {
	rule *tally.Rule
	tally.Count
}

// demandsOf are demands by the identifiers of their rules.
type demandsOf map[string]*demand

// of is the demand of a rule.
func (by demandsOf) of(rule *tally.Rule) *demand {
	if by[rule.Identifier] == nil {
		by[rule.Identifier] = &demand{rule: rule}
	}
	return by[rule.Identifier]
}

// demands counts every completeness rule that was asked of some study.
func (r *builder) demands() []demand {
	by := demandsOf{}
	for res, n := range r.results(func(c class) bool { return c.eligible && !c.waived }) {
		if res.Rule.Kind == finding.Completeness {
			by.of(res.Rule).AddTimes(res.Stands(nil), n)
		}
	}
	for _, s := range r.eligible {
		if len(s.Waivers) == 0 {
			continue
		}
		for res := range s.Results.All() {
			if res.Rule.Kind == finding.Completeness {
				by.of(res.Rule).Add(s.Stands(res))
			}
		}
	}
	var out []demand
	for _, d := range by {
		out = append(out, *d)
	}
	sort.Slice(out, func(i, j int) bool {
		a, b := out[i], out[j]
		if x, y := a.rule.Severity.Rank(), b.rule.Severity.Rank(); x != y {
			return x > y
		}
		if x, y := a.Missing+a.Excepted, b.Missing+b.Excepted; x != y {
			return x > y
		}
		return a.rule.Identifier < b.rule.Identifier
	})
	return out
}

// severityColumn tells how grave a rule is, in the words of the gap sheet.
func severityColumn() table.Column {
	return table.NewColumn("severity", "Severity", table.Words, "error, warning or note; headline measures count errors and warnings")
}

// Notes are the completeness rules that no headline measure counts.
type Notes struct {
	Rules   int              // that applied at least once
	Studies stats.Proportion // eligible studies in which every note that could be told is met
	Worst   string           // the one most often not met, in words, with its share
}

// notes counts what the headline measures leave out.
func (r *builder) notes() {
	var worst *demand
	for _, d := range r.asked {
		if !d.rule.Note() {
			continue
		}
		r.report.Notes.Rules++
		if worst == nil || d.Missing+d.Excepted > worst.Missing+worst.Excepted {
			worst = &d
		}
	}
	if worst != nil && worst.Missing+worst.Excepted > 0 {
		r.report.Notes.Worst = fmt.Sprintf("%s: %s", worst.rule.Title, table.Percent(worst.Strict()))
	}
	complete := Measure{Of: func(s *counted.Study) (counted, met bool) {
		notes := s.Sum().Notes
		lacks := notes.Missing + notes.Excepted
		return notes.Met+lacks > 0, lacks == 0
	}}
	r.report.Notes.Studies = complete.over(r.eligible)
}

// Words say what the headline measures leave out, "" when there is nothing.
func (n Notes) Words() string {
	if n.Rules == 0 {
		return ""
	}
	out := fmt.Sprintf("Notes are not in these measures: of %d asked for, all are met in %s of the eligible studies", n.Rules, table.Percent(n.Studies))
	if n.Worst != "" {
		out += "; least often met: " + n.Worst
	}
	return out + "."
}

// strictAndNot are the columns of the two figures and what lies between them.
func strictAndNot() []table.Column {
	return []table.Column{
		table.NewColumn("strict", "Strict", table.Share, "met, of all to which it applied; recorded reasons do not help"),
		table.NewColumn("with_exceptions", "With exceptions", table.Share, "met, of those to which it applied and no reason was recorded"),
		table.NewColumn("missing", "Missing", table.Count, "not there and no reason recorded"),
		table.NewColumn("excepted", "Reason recorded", table.Count, "not there, with a reason in the record or a waiver"),
		table.NewColumn("cannot_tell", "Cannot tell", table.Count, "what the rule needs to know is itself not recorded; in neither share"),
	}
}

// nothingMissing is what the plain rows of completeness have in common.
const nothingMissing = "with nothing missing"

func cells(t tally.Count) []table.Cell {
	return []table.Cell{table.ShareCell(t.Strict()), table.ShareCell(t.Lenient()), table.CountCell(t.Missing), table.CountCell(t.Excepted), table.CountCell(t.Open)}
}

func (r *builder) byDemand() table.Table {
	t := table.Table{
		Identifier: "completeness", Title: "Completeness by measurement", Note: "Eligible studies. One row per completeness rule that applied at least once, the graver severity first, then most often missing. Notes are not in the headline measures.",
		Columns: append([]table.Column{
			table.MachineColumn("rule", "Rule", table.Words, "identifier of the completeness rule"), table.NewColumn("title", "Demand", table.Words, "what must be there"),
			severityColumn(), table.MachineColumn("measurands", "Measurands", table.Words, "identifiers of the measurands it asks for"),
		}, strictAndNot()...), PlainMeans: nothingMissing,
	}
	for _, d := range r.asked {
		t.AddPlainIf(d.Whole(), append([]table.Cell{table.TextCell(d.rule.Identifier), table.TextCell(d.rule.Title), table.TextCell(d.rule.Severity.Word()), table.TextCell(strings.Join(d.rule.Measurands, ", "))}, cells(d.Count)...)...)
	}
	return t
}

func (r *builder) conditional() table.Table {
	t := table.Table{
		Identifier: "conditional", Title: "Conditional completeness", Note: "Of the demands, those not made of every study of its kind but set off by something in it: if a jet then its velocity, if a stenosis then its area. The headline measure counts those of severity error and warning, study by study.",
		Columns: append([]table.Column{
			table.MachineColumn("rule", "Rule", table.Words, "identifier of the completeness rule"), table.NewColumn("title", "Demand", table.Words, "what must be there"), severityColumn(),
			table.NewColumn("asked", "Asked of", table.Share, "eligible studies to which the demand applied"),
		}, strictAndNot()...), PlainMeans: nothingMissing,
	}
	eligible := r.report.Eligible
	for _, d := range r.asked {
		if d.rule.Conditional {
			asked := d.Met + d.Missing + d.Excepted + d.Open
			t.AddPlainIf(d.Whole(), append([]table.Cell{table.TextCell(d.rule.Identifier), table.TextCell(d.rule.Title), table.TextCell(d.rule.Severity.Word()), table.ProportionCell(asked, eligible)}, cells(d.Count)...)...)
		}
	}
	return t
}

func (r *builder) byProtocol() table.Table {
	t := table.Table{
		Identifier: "protocols", Title: "Completeness by kind of study", Note: "Studies with nothing required missing. A study counts under its base protocol and again under every protocol its findings set off.",
		Columns: []table.Column{
			table.MachineColumn("protocol", "Identifier", table.Words, "identifier of the protocol"), table.NewColumn("title", "Protocol", table.Words, "the protocol in words"), table.NewColumn("studies", "Studies", table.Count, "studies of the period under it, eligible or not"),
			table.NewColumn("strict", "Strict", table.Share, "eligible studies with nothing required missing"),
			table.NewColumn("with_exceptions", "With exceptions", table.Share, "the same, where a recorded reason is no gap"),
		},
	}
	by := map[string][]*counted.Study{}
	for _, s := range r.now {
		base := s.Protocol
		if base == "" {
			base = "(not recognised)"
		}
		for _, p := range append([]string{base}, s.Triggered...) {
			by[p] = append(by[p], s)
		}
	}
	strict, lenient := Measure{Of: r.opt.complete(true, false)}, Measure{Of: r.opt.complete(false, false)}
	for _, name := range slices.Sorted(maps.Keys(by)) {
		t.Add(table.TextCell(name), table.TextCell(table.InWords(name)), table.CountCell(len(by[name])), table.ShareCell(strict.over(by[name])), table.ShareCell(lenient.over(by[name])))
	}
	return t
}

// waivers tells how often reasons are given, a finding of its own: who waives
// much measures little.
func (r *builder) waivers() table.Table {
	t := table.Table{
		Identifier: "waivers", Title: "Reasons for not measuring", Note: "Reasons in the record and waivers of the lab, of all times a completeness rule was not met. Waivers never change the strict figure.",
		Columns: []table.Column{
			table.NewColumn("reason", "Reason", table.Words, "code of the waiver, or recorded in the study"), table.NewColumn("effect", "Effect", table.Words, "exception, exclusion, or counts as missing"),
			table.NewColumn("share", "Of all not met", table.Share, "times this reason was given, of all demands not met"),
			table.NewColumn("studies", "Studies", table.Share, "eligible studies with this reason"), table.NewColumn("late", "After sign-off", table.Count, "given after the study was signed"),
		},
	}
	type reason struct {
		effect         string
		times, studies int
		late           int
	}
	by, notMet, last := map[string]*reason{}, 0, map[string]string{}
	note := func(name, effect, study string, late bool) {
		if by[name] == nil {
			by[name] = &reason{effect: effect}
		}
		by[name].times++
		if last[name] != study {
			last[name] = study
			by[name].studies++
		}
		if late {
			by[name].late++
		}
	}
	for _, s := range r.eligible {
		for res := range s.Results.Of(finding.Fail, finding.Excused) {
			if res.Rule.Kind != finding.Completeness {
				continue
			}
			notMet++
			if w := tally.Waived(s.Waivers, res.Rule.Identifier); w != nil {
				note(w.Reason, string(w.Effect), s.UID, w.Late)
			} else if res.Outcome == finding.Excused {
				note("recorded in the study", string(tally.Exception), s.UID, false)
			}
		}
	}
	for _, name := range slices.Sorted(maps.Keys(by)) {
		one := by[name]
		t.Add(table.TextCell(name), table.TextCell(one.effect), table.ProportionCell(one.times, notMet), table.ProportionCell(one.studies, r.report.Eligible), table.CountCell(one.late))
	}
	return t
}

// contradictions counts the consistency rules.
func (r *builder) contradictions() table.Table {
	t := table.Table{
		Identifier: "contradictions", Title: "Contradictions by rule", Note: "Failed consistency rules, per 100 read studies, and of the studies in which the rule could be put to the test. The headline measure, the likely slips and the months count errors and warnings, not notes.",
		Columns: []table.Column{
			table.MachineColumn("rule", "Rule", table.Words, "identifier of the consistency rule"), table.NewColumn("title", "What must hold", table.Words, "title of the rule"), severityColumn(),
			table.NewColumn("failed", "Failed", table.Share, "studies in which it failed, of those in which it was tested"),
			table.NewColumn("per_100", "Per 100 studies", table.Number, "failures per 100 read studies"),
		},
	}
	type tested struct {
		rule *tally.Rule
		stats.Proportion
	}
	by := map[string]*tested{}
	for res, n := range r.results(class.read) {
		if res.Rule.Kind != finding.Consistency || res.Outcome != finding.Pass && res.Outcome != finding.Fail {
			continue
		}
		if by[res.Rule.Identifier] == nil {
			by[res.Rule.Identifier] = &tested{rule: res.Rule}
		}
		by[res.Rule.Identifier].Total += n
		if res.Failing() {
			by[res.Rule.Identifier].Count += n
		}
	}
	names := slices.Sorted(maps.Keys(by))
	slices.SortStableFunc(names, func(a, b string) int {
		x, y := by[a], by[b]
		return cmp.Or(cmp.Compare(y.rule.Severity.Rank(), x.rule.Severity.Rank()), cmp.Compare(y.Count, x.Count))
	})
	for _, name := range names {
		if one := by[name]; one.Count > 0 {
			t.Add(table.TextCell(name), table.TextCell(one.rule.Title), table.TextCell(one.rule.Severity.Word()), table.ShareCell(one.Proportion), table.NumberCell(100*float64(one.Count)/float64(r.read)))
		}
	}
	return t
}

// causes counts the slips that undo a contradiction.
func (r *builder) causes() table.Table {
	t := table.Table{
		Identifier: "causes", Title: "Contradictions by likely slip", Note: "The single slip which, undone, makes the relation hold. Without one, the cause is not known.",
		Columns: []table.Column{table.MachineColumn("cause", "Identifier", table.Words, "identifier of the slip"), table.NewColumn("title", "Likely slip", table.Words, "the slip in words"), table.NewColumn("share", "Of all contradictions", table.Share, "contradictions explained by it")},
	}
	by, all := map[string]int{}, 0
	for _, s := range r.now {
		if s.Sum().Contradictions == 0 {
			continue
		}
		for res := range s.Results.Of(finding.Fail) {
			if res.Rule.Kind == finding.Consistency && res.Grave() {
				all++
				if res.Cause == "" {
					by[unknownCause]++
				} else {
					by[res.Cause]++
				}
			}
		}
	}
	for _, name := range slices.Sorted(maps.Keys(by)) {
		t.Add(table.TextCell(name), table.TextCell(table.InWords(name)), table.ProportionCell(by[name], all))
	}
	return t
}

// contradictionsByMonth is the u chart of contradictions.
func (r *builder) contradictionsByMonth() table.Table {
	t := table.Table{
		Identifier: "contradictions-by-month", Title: "Contradictions by month", Note: "Contradictions per 100 read studies with the limits of a u chart (three standard errors), which begin anew where scanner software changes. Several in one study are not independent, so the limits are too narrow where they come in clusters.",
		Columns: []table.Column{
			table.NewColumn("month", "Month", table.Words, "year and month"), table.NewColumn("studies", "Read studies", table.Count, "read studies of the month"),
			table.NewColumn("contradictions", "Contradictions", table.Count, "failed consistency rules of severity warning or error"),
			table.NewColumn("per_100", "Per 100 studies", table.Number, "contradictions per 100 studies"), table.NewColumn("low", "Lower limit", table.Number, "lower limit per 100 studies"),
			table.NewColumn("high", "Upper limit", table.Number, "upper limit per 100 studies"),
		},
	}
	months := r.opt.Period.Look().Months()
	points := make([]stats.Proportion, len(months))
	for _, s := range r.look {
		if s.Unread {
			continue
		}
		i := slices.Index(months, calendar.MonthOf(s.Date))
		points[i].Total++
		points[i].Count += s.Sum().Contradictions
	}
	if countPoints(points) == 0 {
		return t
	}
	for _, part := range stretches(months, r.later) {
		c := control.UChart(points[part.from:part.to], 0)
		for i, p := range points[part.from:part.to] {
			if p.Total > 0 {
				t.Add(table.TextCell(months[part.from+i].Format("2006-01")), table.CountCell(p.Total), table.CountCell(p.Count), table.NumberCell(100*c.Values[i]), table.NumberCell(100*c.Limits[i].Low), table.NumberCell(100*c.Limits[i].High))
			}
		}
	}
	return t
}
