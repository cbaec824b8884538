package accreditation

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"echotally/internal/calendar"
	"echotally/internal/counted"
	"echotally/internal/table"
)

// Modalities as sets of requirements tell them apart.
const (
	transthoracic = "transthoracic"
	unrecognised  = "kind not recognised"
)

// modality of a study by its base protocol; the protocols of transthoracic studies
// are many.
func modality(protocol string) string {
	switch protocol {
	case "":
		return unrecognised
	case "stress", "transoesophageal":
		return protocol
	}
	return transthoracic
}

// quarters are the calendar quarters that lie wholly in the period and are over.
func (w *work) quarters() []calendar.Period {
	var out []calendar.Period
	p := w.m.Options.Period
	for y := p.From.Year(); y <= p.To.Year(); y++ {
		for q := 1; q <= 4; q++ {
			one, err := calendar.Quarter(fmt.Sprintf("%04d-Q%d", y, q))
			if err == nil && !one.From.Before(p.From) && !one.To.After(w.end()) {
				out = append(out, one)
			}
		}
	}
	return out
}

// tally is how many studies a quarter had of a modality, and how many cases.
type tally struct{ studies, cases int }

// perQuarter asks for a number of cases in every quarter, of each modality where the
// set says so; where a modality had fewer studies, for all of them.
func (w *work) perQuarter(p *PerPeriod, what, how string, read bool) finding {
	quarters := w.quarters()
	w.nextQuarters(p, how, read)
	if len(quarters) == 0 {
		return finding{gap: "no whole quarter of the period is over"}
	}
	each := ""
	if p.Modality {
		each = " of each modality, or all of them where it had fewer studies"
	}
	title := "Cases drawn, by quarter and modality"
	if read {
		title = "Cases read again, by quarter and modality"
	}
	t := table.Table{Title: title, Note: fmt.Sprintf("How many %s, by the date of the study; at least %d a quarter%s are asked for. So few cases are a reason to talk; they say nothing about a rate.", what, p.Least, each), Columns: []table.Column{
		{Identifier: "quarter", Title: "Quarter", Kind: table.Words, Meaning: "calendar quarter"}, {Identifier: "modality", Title: "Modality", Kind: table.Words, Meaning: "by the base protocol of the study"},
		{Identifier: "studies", Title: "Studies", Kind: table.Count, Meaning: "studies of the quarter and modality"}, {Identifier: "cases", Title: "Cases", Kind: table.Count, Meaning: what},
	}}
	var short []string
	all := 0
	for _, q := range quarters {
		by := w.tallies(q, read)
		sum, lacking := 0, false
		for _, name := range sorted(by) {
			one := by[name]
			sum += one.cases
			lacking = lacking || p.Modality && one.cases < min(p.Least, one.studies)
			t.Add(table.TextCell(q.Name), table.TextCell(name), table.CountCell(one.studies), table.CountCell(one.cases))
		}
		all += sum
		if lacking || sum == 0 || !p.Modality && sum < p.Least {
			short = append(short, q.Name)
		}
	}
	w.table(w.row.Identifier, t)
	w.list(w.row.Identifier, t.Title, []table.Column{{Identifier: "quarter", Title: "Quarter", Kind: table.Words, Meaning: "calendar quarter"}}, func(s *counted.Study) []table.Cell {
		for _, q := range quarters {
			if q.Holds(s.Date) && w.isCase(s.UID, read) {
				return []table.Cell{table.TextCell(q.Name)}
			}
		}
		return nil
	})
	w.say("%d %s; %d quarters were looked at", all, what, len(quarters))
	if len(short) > 0 {
		return finding{gap: fmt.Sprintf("fewer than %d%s in %s", p.Least, each, strings.Join(short, ", "))}
	}
	return finding{shown: true}
}

// nextQuarters notes what the quarters to come ask for.
func (w *work) nextQuarters(p *PerPeriod, how string, read bool) {
	today := w.m.Options.Cutoff.UTC()
	for i := range 4 {
		at := today.AddDate(0, 3*i, 1-today.Day())
		q, err := calendar.Quarter(fmt.Sprintf("%04d-Q%d", at.Year(), (int(at.Month())+2)/3))
		if err != nil {
			continue
		}
		need := p.Least
		for _, one := range w.tallies(q, read) {
			need -= one.cases
		}
		if need > 0 {
			w.due(q.To.Format(time.DateOnly), "%s: %d more of %s", how, need, q.Name)
		}
	}
}

// tallies counts studies and cases of a quarter by modality.
func (w *work) tallies(q calendar.Period, read bool) map[string]*tally {
	out := map[string]*tally{}
	of := func(name string) *tally {
		if out[name] == nil {
			out[name] = &tally{}
		}
		return out[name]
	}
	kinds := map[string]string{}
	for i := range w.m.Studies {
		s := &w.m.Studies[i]
		if q.Holds(s.Date) {
			kinds[s.UID] = modality(s.Protocol)
			of(kinds[s.UID]).studies++
		}
	}
	for _, d := range w.m.Draws {
		for _, c := range d.Cases {
			if at, err := time.Parse(time.DateOnly, c.Date); err != nil || !q.Holds(at) || read && !w.readAgain(d.Number, c.Number, c.Readers) {
				continue
			}
			name := kinds[c.Study]
			if name == "" {
				name = unrecognised
			}
			of(name).cases++
		}
	}
	return out
}

// readAgain reports whether somebody who had not reported the case read it again.
func (w *work) readAgain(draw, number int, reported []string) bool {
	for _, e := range w.m.Entries {
		if e.Draw != draw || slices.Contains(reported, e.Reader) {
			continue
		}
		for _, row := range e.Rows {
			if row.Case == number {
				return true
			}
		}
	}
	return false
}

// isCase reports whether the study was drawn, or read again.
func (w *work) isCase(study string, read bool) bool {
	for _, d := range w.m.Draws {
		for _, c := range d.Cases {
			if c.Study == study && (!read || w.readAgain(d.Number, c.Number, c.Readers)) {
				return true
			}
		}
	}
	return false
}

func sorted[V any](m map[string]V) []string { return slices.Sorted(keys(m)) }
