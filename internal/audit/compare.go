package audit

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"echotally/internal/counted"
	"echotally/internal/finding"
	"echotally/internal/stats"
	"echotally/internal/table"
)

// WhatIf makes a report one of what other rules would have found.
type WhatIf struct {
	Before, After RulesInForce
	Changed       []RuleChange
	Studies       stats.Proportion // of the period, those of which something else is found
	Moves         []string         // headline measures that move, in words
}

// RulesInForce is a rule set with its guideline edition.
type RulesInForce struct{ RuleSet, Edition string }

// RuleChange is a rule that is not the same in both sets.
type RuleChange struct {
	Identifier string
	Title      string
	What       []string // in words
}

// WhatIf makes the report one of what other rules would have found: it is that
// of the studies after, and begins with what [Compare] told of them.
func (r *Report) WhatIf(tables []table.Table, from RulesInForce, changed []RuleChange) {
	w := &WhatIf{Before: from, After: RulesInForce{r.Options.RuleSet, r.Options.Edition}, Changed: changed,
		Studies: stats.Proportion{Count: len(tables[2].Rows), Total: r.Received}}
	for _, row := range tables[0].Rows {
		if row[2].Share != row[3].Share {
			w.Moves = append(w.Moves, fmt.Sprintf("%s: %s, under the shipped rules %s", row[1].Text, table.Percent(row[3].Share), table.Percent(row[2].Share)))
		}
	}
	r.Other, r.Tables = w, append(tables, r.Tables...)
}

// rulesNamed is how many changed rules page one names (site choice: more are in
// the table).
const rulesNamed = 6

// Lines say on page one what the report is and what is changed.
func (w *WhatIf) Lines() []string {
	out := []string{fmt.Sprintf("The studies are judged here by rule set %s of guideline edition %s, not by rule set %s of edition %s, which is in force.",
		w.After.RuleSet, w.After.Edition, w.Before.RuleSet, w.Before.Edition)}
	for i, c := range w.Changed {
		if i == rulesNamed && len(w.Changed) > rulesNamed+1 {
			out = append(out, fmt.Sprintf("%d more rules differ; all are in the table of changed rules.", len(w.Changed)-i))
			break
		}
		out = append(out, fmt.Sprintf("%s (%s): %s", c.Title, c.Identifier, strings.Join(c.What, ", ")))
	}
	if len(w.Changed) == 0 {
		out = append(out, "No rule differs; what differs is what the rules rest on.")
	}
	out = append(out, fmt.Sprintf("Something else is found in %s of the studies.", table.Percent(w.Studies)))
	if len(w.Moves) == 0 {
		out = append(out, "No headline measure moves.")
	}
	return append(out, w.Moves...)
}

// Compare tells what another rule set changes: the rates, the rules, and the
// studies that fail something else than before. The two lists hold the same
// studies of the period in the same order.
func Compare(before, after []counted.Study, opt Options) []table.Table {
	was, is := periodOf(before, opt), periodOf(after, opt)
	return []table.Table{rates(was, is, opt), changedRules(was, is), changedStudies(was, is)}
}

func periodOf(studies []counted.Study, opt Options) []*counted.Study {
	var out []*counted.Study
	for i := range studies {
		if opt.Period.Holds(studies[i].Date) && (opt.Lab == "" || studies[i].Lab == opt.Lab) {
			out = append(out, &studies[i])
		}
	}
	slices.SortFunc(out, func(a, b *counted.Study) int { return strings.Compare(a.UID, b.UID) })
	return out
}

func rates(was, is []*counted.Study, opt Options) table.Table {
	t := table.Table{
		Identifier: "what-if-rates", Title: "What the other rules change: rates", Note: "The same studies judged twice: there is no sampling between the two, so the difference is exact.",
		Columns: []table.Column{
			table.MachineColumn("measure", "Measure", table.Words, "identifier of the measure"), table.NewColumn("title", "Measure in words", table.Words, "what is counted as met"),
			table.NewColumn("before", "Before", table.Share, "under the rules that judged so far"), table.NewColumn("after", "Under the other rules", table.Share, "under the rules compared"),
			table.NewColumn("moves", "Moves, points", table.Number, "difference in percentage points"),
		},
	}
	for _, m := range opt.Headlines() {
		a, b := m.over(was), m.over(is)
		t.Add(table.TextCell(m.Identifier), table.TextCell(m.Title), table.ShareCell(a), table.ShareCell(b), table.NumberCell(moves(a, b)))
	}
	return t
}

func moves(a, b stats.Proportion) float64 { return 100 * (b.Value() - a.Value()) }

// call is a rule that needs somebody to act in a study, with how grave that is.
type call struct {
	rule     string // identifier
	severity finding.Severity
}

func (c call) words() string { return fmt.Sprintf("%s (%s)", c.rule, c.severity.Word()) }

// calls are those of a study.
func calls(s *counted.Study) []call {
	var out []call
	for r := range s.Results.Calling() {
		out = append(out, call{r.Rule.Identifier, r.Severity})
	}
	return out
}

func changedRules(was, is []*counted.Study) table.Table {
	t := table.Table{
		Identifier: "what-if-rules", Title: "What the other rules change: rules", Note: "Studies in which a rule fails or asks a person to look, where that number changes.",
		Columns: []table.Column{
			table.NewColumn("rule", "Rule", table.Words, "identifier and severity"), table.NewColumn("before", "Before", table.Count, "studies before"), table.NewColumn("after", "Under the other rules", table.Count, "studies under the other rules"),
			table.NewColumn("moves", "Moves", table.Number, "difference in studies"),
		},
	}
	each := map[call]*[2]int{}
	for k, list := range [][]*counted.Study{was, is} {
		for _, s := range list {
			for r := range s.Results.Calling() {
				one := call{r.Rule.Identifier, r.Severity}
				if each[one] == nil {
					each[one] = new([2]int)
				}
				each[one][k]++
			}
		}
	}
	counts := map[string]*[2]int{}
	for one, c := range each {
		counts[one.words()] = c
	}
	for _, name := range slices.Sorted(maps.Keys(counts)) {
		if c := counts[name]; c[0] != c[1] {
			t.Add(table.TextCell(name), table.CountCell(c[0]), table.CountCell(c[1]), table.NumberCell(float64(c[1]-c[0])))
		}
	}
	return t
}

func changedStudies(was, is []*counted.Study) table.Table {
	t := table.Table{
		Identifier: "what-if-studies", Unprinted: true, Title: "What the other rules change: studies", Note: "Studies that fail, or ask to be looked at by, other rules than before.",
		Columns: []table.Column{
			table.NewColumn("study", "Study", table.Words, "Study Instance UID"), table.NewColumn("date", "Date", table.Words, "study date"),
			table.NewColumn("new", "New", table.Words, "rules that fail now"), table.NewColumn("gone", "Gone", table.Words, "rules that fail no more"),
		},
	}
	old := make(map[string][]call, len(was))
	for _, s := range was {
		old[s.UID] = calls(s)
	}
	for _, s := range is {
		before, now := old[s.UID], calls(s)
		if slices.Equal(before, now) {
			continue
		}
		fresh, gone := without(now, before), without(before, now)
		if len(fresh)+len(gone) > 0 {
			t.Add(table.TextCell(s.UID), table.DateCell(s.Date), table.TextCell(strings.Join(fresh, ", ")), table.TextCell(strings.Join(gone, ", ")))
		}
	}
	t.Note += fmt.Sprintf(" %d of %d studies.", len(t.Rows), len(is))
	return t
}

// without are those of a list that are not in another one, in words, sorted.
func without(list, other []call) []string {
	var out []string
	for _, one := range list {
		if !slices.Contains(other, one) {
			out = append(out, one.words())
		}
	}
	slices.Sort(out)
	return out
}
