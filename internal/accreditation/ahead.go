package accreditation

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"echotally/internal/table"
)

// lookAhead is how far ahead due dates are told, in months: a year, so that every
// yearly duty stands once (site choice).
const lookAhead = 12

// Due is something that has to be done for a requirement by a day.
type Due struct {
	Day  string // 2027-03-31
	What string
}

// due notes what has to be done by a day of the months ahead; what is past is a gap
// and told as one.
func (w *work) due(day, format string, args ...any) {
	today := w.m.Options.Cutoff.UTC()
	if day >= today.Format(time.DateOnly) && day <= today.AddDate(0, lookAhead, 0).Format(time.DateOnly) {
		w.row.Ahead = append(w.row.Ahead, Due{day, fmt.Sprintf(format, args...)})
	}
}

// Ahead is what falls due in the months to come, the next first.
func (b *Binder) Ahead() table.Table {
	t := table.Table{
		Identifier: "ahead", Title: "What falls due", Note: fmt.Sprintf("Within %d months from the state of the data: attachments that lapse, cases and meetings that the time to come asks for, actions that are open.", lookAhead),
		Columns: []table.Column{
			{Identifier: "due", Title: "Due", Kind: table.Words, Meaning: "last day"}, {Identifier: "what", Title: "What is to be done", Kind: table.Words, Meaning: "what is to be done"},
			{Identifier: "identifier", Title: "Name", Kind: table.Words, Meaning: "name of the requirement"},
		},
	}
	type line struct {
		Due
		of string
	}
	var all []line
	for _, r := range b.Rows {
		for _, d := range r.Ahead {
			all = append(all, line{d, r.Identifier})
		}
	}
	slices.SortStableFunc(all, func(a, b line) int { return cmp.Compare(a.Day, b.Day) })
	for _, l := range all {
		t.Add(table.TextCell(l.Day), table.TextCell(l.What), table.TextCell(l.of))
	}
	return t
}

// nextMeetings notes the meetings that the rest of the calendar year asks for, and
// those of the year after.
func (w *work) nextMeetings(least int) {
	today := w.m.Options.Cutoff.UTC()
	held := 0
	for _, m := range w.m.Meetings {
		if len(m.Date) >= 4 && m.Date[:4] == today.Format("2006") {
			held++
		}
	}
	if held < least {
		w.due(fmt.Sprintf("%d-12-31", today.Year()), "hold %d more meetings in %d (echotally meeting pack, meeting record)", least-held, today.Year())
	}
	for i := range least {
		// Spread evenly, the first due when its share of the year is over.
		last := time.Date(today.Year()+1, time.Month(12*(i+1)/least)+1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, -1)
		w.due(last.Format(time.DateOnly), "hold meeting %d of %d of %d", i+1, least, today.Year()+1)
	}
}
