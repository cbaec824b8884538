package study

import (
	"fmt"
	"slices"
	"strconv"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/measurand"
	"echotally/internal/web/frame"
)

// earlierPart is the person's other studies beside this one, the latest of them first.
type earlierPart struct {
	Columns []earlierColumn
	Rows    []earlierRow
	Changes []string // beyond what two readings may differ, as the rules for comparing found them
	Label   string
	More    int // further studies that are not shown
}

type earlierColumn struct {
	Date string
	Path string // "" for the study itself
}

// earlierRow is one measurand in each study.
type earlierRow struct {
	Title, Unit string
	Values      []string // "" where it was not measured
	Said        []said   // by the rules that compare with the earlier study
}

// said is what a rule that compares with the earlier study came to, on a value that is
// not the same in both.
type said struct{ Beyond bool }

// mostEarlier is how many earlier studies stand side by side.
const mostEarlier = 4

func newEarlier(c *frame.Call, st *state) (*earlierPart, error) {
	ctx := c.R.Context()
	others, err := c.Lab.Ledger.OfPerson(ctx, st.uid)
	if err != nil {
		return nil, err
	}
	at := day(st.study.StudyDate)
	out := &earlierPart{Columns: []earlierColumn{{Date: at}}}
	states := []*state{st}
	for _, o := range slices.Backward(others) {
		if o.UID == st.uid || o.Date >= at {
			continue
		}
		if len(states) > mostEarlier {
			out.More++
			continue
		}
		one := &state{uid: o.UID}
		if one.judgement, one.study, err = c.Lab.Ledger.Latest(ctx, o.UID); err != nil {
			return nil, err
		}
		if one.study != nil {
			states = append(states, one)
			out.Columns = append(out.Columns, earlierColumn{o.Date, c.Lab.Study(o.UID)})
		}
	}
	if len(states) == 1 {
		return nil, nil
	}
	catalogue := c.Lab.Desk().Library.Measurands
	var seen []string
	for i := range st.study.Measurements {
		if m := &st.study.Measurements[i]; counts(m) && !slices.Contains(seen, m.Measurand) {
			seen = append(seen, m.Measurand)
			if row := rowFor(catalogue.Find(m.Measurand), states); row != nil {
				out.Rows = append(out.Rows, *row)
			}
		}
	}
	for i := range st.judgement.Results {
		if r := &st.judgement.Results[i]; beyond(r) {
			out.Changes = append(out.Changes, r.Message)
		}
	}
	slices.SortStableFunc(out.Rows, func(a, b earlierRow) int { return rank(b) - rank(a) })
	return out, nil
}

// rank puts first what the rules speak of.
func rank(r earlierRow) int {
	switch {
	case slices.ContainsFunc(r.Said, func(s said) bool { return s.Beyond }):
		return 2
	case len(r.Said) > 0:
		return 1
	}
	return 0
}

// Verdict is what the rules say of the row in a word, "" for nothing.
func (r earlierRow) Verdict() string { return []string{"", "within", "beyond"}[rank(r)] }

func counts(m *echo.Measurement) bool {
	return m.Measurand != "" && m.Role == echo.Result && !m.Superseded && m.DuplicateOf == nil && m.Canonical != nil
}

// rowFor is a measurand that an earlier study has too, nil for others.
func rowFor(d *measurand.Measurand, states []*state) *earlierRow {
	if d == nil {
		return nil
	}
	row := &earlierRow{Title: d.Title, Unit: d.Unit.Display()}
	shared := 0
	for _, st := range states {
		value, ok := valueOf(st, d.Identifier)
		if ok {
			row.Values = append(row.Values, strconv.FormatFloat(value, 'g', 4, 64))
			shared++
		} else {
			row.Values = append(row.Values, "")
		}
	}
	if shared < 2 {
		return nil
	}
	for i := range states[0].judgement.Results {
		r := &states[0].judgement.Results[i]
		if !r.Between || !slices.Contains(r.Measurands, d.Identifier) {
			continue
		}
		changed := row.Values[0] != "" && row.Values[1] != "" && row.Values[0] != row.Values[1]
		switch {
		case changed && beyond(r):
			row.Said = append(row.Said, said{true})
		case r.Outcome == finding.Pass:
			row.Said = append(row.Said, said{false})
		}
	}
	return row
}

// beyond reports whether a rule that compares found a change that asks for something.
func beyond(r *finding.Result) bool {
	return r.Between && (r.Outcome == finding.Fail || r.Outcome == finding.Review)
}

// valueOf is the value of a measurand that counted when the study was judged.
func valueOf(st *state, identifier string) (float64, bool) {
	if st.judgement != nil {
		for _, s := range st.judgement.Several {
			if s.Measurand == identifier {
				return s.Value, true
			}
		}
	}
	for i := range st.study.Measurements {
		if m := &st.study.Measurements[i]; m.Measurand == identifier && counts(m) {
			value, _ := m.Canonical.Value.Rat().Float64()
			return value, true
		}
	}
	return 0, false
}

// Compared reports whether rules compared any of it.
func (e *earlierPart) Compared() bool { return len(e.Rows) > 0 && rank(e.Rows[0]) > 0 }

// First is what rules compared, and Rest the others, nil for none.
func (e *earlierPart) First() *earlierPart {
	return e.part("Compared with earlier studies", 0, e.compared())
}

// Rest is what no rule compared, nil for nothing.
func (e *earlierPart) Rest() *earlierPart {
	if e.compared() == len(e.Rows) {
		return nil
	}
	return e.part("Not compared", e.compared(), len(e.Rows))
}

func (e *earlierPart) compared() int {
	n := slices.IndexFunc(e.Rows, func(r earlierRow) bool { return rank(r) == 0 })
	if n < 0 {
		return len(e.Rows)
	}
	return n
}

func (e *earlierPart) part(label string, from, to int) *earlierPart {
	return &earlierPart{Label: label, Columns: e.Columns, Rows: e.Rows[from:to]}
}

// Heading is what stands above a column.
func (e earlierColumn) Heading() string {
	if e.Path == "" {
		return fmt.Sprintf("this study, %s", e.Date)
	}
	return e.Date
}
