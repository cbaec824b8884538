package accreditation

import (
	"cmp"
	"fmt"
	"iter"
	"maps"
	"slices"
	"strings"
	"time"

	"echotally/internal/counted"
	"echotally/internal/layout"
	"echotally/internal/stats"
	"echotally/internal/table"
)

func keys[V any](m map[string]V) iter.Seq[string] { return maps.Keys(m) }

// volume counts the studies of each person, brought to a year. Persons are codes of
// this binder.
func (w *work) volume(v *Volume) finding {
	counts, unknown := map[string]int{}, 0
	for i := range w.m.Studies {
		if who := personOf(&w.m.Studies[i], v.Of); who != "" {
			counts[who]++
		} else {
			unknown++
		}
	}
	if len(counts) == 0 {
		return finding{gap: "no study names its " + v.Of}
	}
	p := w.m.Options.Period
	years := w.end().Sub(p.From).Hours()/24/365.25 + 1/365.25
	names := slices.SortedFunc(keys(counts), func(a, b string) int { return cmp.Compare(w.mark(v.Of, a), w.mark(v.Of, b)) })
	t := table.Table{Title: "Studies by " + v.Of, Note: fmt.Sprintf("Studies of the period and brought to a year of 365.25 days; at least %d a year are asked for. Codes are drawn for this binder alone.", v.Least), Columns: []table.Column{
		{Identifier: "person", Title: "Person", Kind: table.Words, Meaning: "code of this binder"}, {Identifier: "studies", Title: "Studies", Kind: table.Count, Meaning: "studies of the period"},
		{Identifier: "a_year", Title: "A year", Kind: table.Count, Meaning: "brought to a year, rounded down"},
	}}
	below := 0
	for i, who := range names {
		year := int(float64(counts[who]) / years)
		if year < v.Least {
			below++
		}
		t.Add(table.TextCell(personCode(v.Of, i+1)), table.CountCell(counts[who]), table.CountCell(year))
	}
	w.table(w.row.Identifier, t)
	w.list(w.row.Identifier, "Studies by "+v.Of, []table.Column{{Identifier: "person", Title: "Person", Kind: table.Words, Meaning: "code of this binder, as in the table of volumes"}}, func(s *counted.Study) []table.Cell {
		who := personOf(s, v.Of)
		if who == "" {
			return []table.Cell{table.TextCell("(not known)")}
		}
		return []table.Cell{table.TextCell(personCode(v.Of, slices.Index(names, who)+1))}
	})
	w.say("%d of %s have at least %s a year", len(names)-below, layout.Count(len(names), v.Of), layout.CountOf(v.Least, "study", "studies"))
	if unknown > 0 {
		w.say("%s no %s", layout.CountOf(unknown, "study names", "studies name"), v.Of)
	}
	if below > 0 {
		return finding{gap: fmt.Sprintf("%d of %d below %d a year here", below, len(names), v.Least)}
	}
	return finding{shown: true}
}

func personCode(role string, number int) string {
	return fmt.Sprintf("%s %d", strings.ToUpper(role[:1])+role[1:], number)
}

func (w *work) mark(role, who string) string {
	if w.m.Options.Mark == nil {
		return who
	}
	return w.m.Options.Mark(strings.Join([]string{"binder", w.m.Options.Period.Name, role, who}, " "))
}

// end is the last day of the period that has been.
func (w *work) end() time.Time {
	if today := w.m.Options.Cutoff.UTC().Truncate(24 * time.Hour); today.Before(w.m.Options.Period.To) {
		return today
	}
	return w.m.Options.Period.To
}

// meetings asks for a number a year, and for everybody's part in one.
func (w *work) meetings(p *PerPeriod) finding {
	var held []Meeting
	part := map[string]bool{}
	for _, m := range w.m.Meetings {
		if at, err := time.Parse(time.DateOnly, m.Date); err == nil && w.m.Options.Period.Holds(at) {
			held = append(held, m)
			for _, who := range slices.Concat(m.Present, m.Informed) {
				part[who] = true
			}
		}
	}
	slices.SortFunc(held, func(a, b Meeting) int { return cmp.Compare(a.Date, b.Date) })
	t := table.Table{Title: "Meetings", Note: "Meetings about quality that were recorded.", Columns: []table.Column{
		{Identifier: "date", Title: "Date", Kind: table.Words, Meaning: "when it was held"}, {Identifier: "title", Title: "Title", Kind: table.Words, Meaning: "what it was"},
		{Identifier: "present", Title: "Present", Kind: table.Count, Meaning: "who took part"}, {Identifier: "read", Title: "Read the minutes", Kind: table.Count, Meaning: "who signed to have read them"},
		{Identifier: "minutes", Title: "Minutes", Kind: table.Words, Meaning: "SHA-256 of the file of the minutes"},
	}}
	for _, m := range held {
		minutes := "not attached"
		if m.Minutes != nil {
			minutes = m.Minutes.SHA256
		}
		t.Add(table.TextCell(m.Date), table.TextCell(m.Title), table.CountCell(len(m.Present)), table.CountCell(len(m.Informed)), table.TextCell(minutes))
	}
	w.table(w.row.Identifier, t)
	years := w.years()
	w.nextMeetings(p.Least)
	w.say("%d meetings in the period", len(held))
	var gaps []string
	if len(held) < p.Least*years {
		gaps = append(gaps, fmt.Sprintf("%d meetings where %d are asked for", len(held), p.Least*years))
	}
	if p.Everyone {
		missing := 0
		for who := range w.m.Staff {
			if !part[who] {
				missing++
			}
		}
		switch {
		case len(w.m.Staff) == 0:
			gaps = append(gaps, "the lab has no list of its staff (echotally intake --roster)")
		case missing > 0:
			gaps = append(gaps, fmt.Sprintf("%d of %d of the staff took part in none and have not signed the minutes of one", missing, len(w.m.Staff)))
		default:
			w.say("all %d of the staff took part in one or read its minutes", len(w.m.Staff))
		}
	}
	return finding{shown: len(gaps) == 0, gap: strings.Join(gaps, "; ")}
}

// correlation counts comparisons with other tests.
func (w *work) correlation(p *PerPeriod) finding {
	by, all := map[string]int{}, 0
	for i := range w.m.Studies {
		for _, c := range w.m.Studies[i].Correlations {
			by[c.Test]++
			all++
		}
	}
	if all == 0 {
		return finding{gap: "no comparison was taken in (echotally intake --correlation)"}
	}
	t := table.Table{Title: "Comparisons with other tests", Note: "How many findings of studies of the period were compared with another test; how they agree is in the audit.", Columns: []table.Column{
		{Identifier: "test", Title: "Test", Kind: table.Words, Meaning: "the other test"}, {Identifier: "comparisons", Title: "Comparisons", Kind: table.Count, Meaning: "findings compared"},
	}}
	for _, test := range slices.Sorted(keys(by)) {
		t.Add(table.TextCell(test), table.CountCell(by[test]))
	}
	w.table(w.row.Identifier, t)
	w.list(w.row.Identifier, t.Title, []table.Column{{Identifier: "comparisons", Title: "Comparisons", Kind: table.Count, Meaning: "findings compared with another test"}}, func(s *counted.Study) []table.Cell {
		if len(s.Correlations) == 0 {
			return nil
		}
		return []table.Cell{table.CountCell(len(s.Correlations))}
	})
	w.say("%s with other tests", layout.CountOf(all, "comparison", "comparisons"))
	if want := p.Least * w.years(); all < want {
		return finding{gap: fmt.Sprintf("%d comparisons where %d are asked for", all, want)}
	}
	return finding{shown: true}
}

// appropriateness counts the studies whose request was judged.
func (w *work) appropriateness() finding {
	by, p := map[string]int{}, stats.Proportion{Total: len(w.m.Studies)}
	for i := range w.m.Studies {
		if class := w.m.Studies[i].Appropriateness; class != "" {
			by[class]++
			p.Count++
		}
	}
	if p.Count == 0 {
		return finding{gap: "no request was judged (echotally intake --appropriateness)"}
	}
	var words []string
	for _, class := range slices.Sorted(keys(by)) {
		words = append(words, fmt.Sprintf("%d %s", by[class], class))
	}
	w.list(w.row.Identifier, "Requests judged", []table.Column{{Identifier: "class", Title: "Class", Kind: table.Words, Meaning: "class of the request"}}, func(s *counted.Study) []table.Cell {
		return []table.Cell{table.TextCell(cmp.Or(s.Appropriateness, "not judged"))}
	})
	w.say("of %d of %d studies the request was judged: %s", p.Count, p.Total, strings.Join(words, ", "))
	if p.Count < p.Total {
		return finding{gap: fmt.Sprintf("of %d of %d studies the request was not judged", p.Total-p.Count, p.Total)}
	}
	return finding{shown: true}
}

// years is how many whole years the period has, at least one.
func (w *work) years() int {
	p := w.m.Options.Period
	return max(1, int(p.To.Sub(p.From).Hours()/24/365))
}

// retention looks how far back the ledger reaches.
func (w *work) retention(r *Retention) finding {
	if w.m.Oldest.IsZero() {
		return finding{gap: "the ledger holds no dated study"}
	}
	w.say("the oldest study of the ledger is of %s", w.m.Oldest.Format(time.DateOnly))
	if want := w.m.Options.Cutoff.AddDate(-r.Years, 0, 0); w.m.Oldest.After(want) {
		return finding{gap: fmt.Sprintf("the ledger does not reach back %d years; what the archive holds is to be attached", r.Years)}
	}
	return finding{shown: true}
}

// archive counts the studies of which both a report and images were received.
func (w *work) archive() finding {
	report, both := stats.Proportion{}, stats.Proportion{}
	for i := range w.m.Studies {
		s := &w.m.Studies[i]
		report.Total, both.Total = report.Total+1, both.Total+1
		if !s.Unread {
			report.Count++
			if s.Images > 0 {
				both.Count++
			}
		}
	}
	if report.Total == 0 {
		return finding{gap: "no study was received"}
	}
	w.list(w.row.Identifier, "What was received", []table.Column{
		{Identifier: "report", Title: "Report", Kind: table.Words, Meaning: "whether a report was received that can be read"}, {Identifier: "images", Title: "Images", Kind: table.Count, Meaning: "images received"},
	}, func(s *counted.Study) []table.Cell {
		return []table.Cell{table.TextCell(yesNo(!s.Unread)), table.CountCell(s.Images)}
	})
	w.say("a report that can be read: %d of %d studies; images as well: %d", report.Count, report.Total, both.Count)
	if both.Count < both.Total {
		return finding{gap: fmt.Sprintf("of %d of %d studies report or images were not received here; what the archive holds is to be attached", both.Total-both.Count, both.Total)}
	}
	return finding{shown: true}
}

// actions looks for actions with their results.
func (w *work) actions() finding {
	t := table.Table{Title: "Actions", Note: "Actions that were begun or closed in the period.", Columns: []table.Column{
		{Identifier: "action", Title: "Action", Kind: table.Words, Meaning: "what is done"}, {Identifier: "cause", Title: "Cause", Kind: table.Words, Meaning: "what it answers"},
		{Identifier: "state", Title: "State", Kind: table.Words, Meaning: "open, overdue or closed"}, {Identifier: "result", Title: "Result", Kind: table.Words, Meaning: "what came of it"},
	}}
	closed, overdue, all := 0, 0, 0
	for _, a := range w.m.Actions {
		if a.Started.After(w.m.Options.Period.To) || !a.Closed.IsZero() && a.Closed.Before(w.m.Options.Period.From) {
			continue
		}
		all++
		state := a.State(w.m.Options.Cutoff)
		switch state {
		case "closed":
			closed++
		case "overdue":
			overdue++
		default:
			if !a.Due.IsZero() {
				w.due(a.Due.Format(time.DateOnly), "action %d, %s: look at its effect and close it", a.Number, a.Title)
			}
		}
		t.Add(table.TextCell(a.Title), table.TextCell(a.Cause), table.TextCell(state), table.TextCell(a.Result))
	}
	if all == 0 {
		return finding{gap: "no action was recorded (echotally action add)"}
	}
	w.table(w.row.Identifier, t)
	w.say("%s, %d closed with a result", layout.CountOf(all, "action", "actions"), closed)
	switch {
	case overdue > 0:
		return finding{gap: layout.CountOf(overdue, "action is", "actions are") + " overdue: close with what came of it"}
	case closed == 0:
		return finding{gap: "no action has been closed with its effect yet"}
	}
	return finding{shown: true}
}
