// Package calendar owns the period: a span of study dates by the names that people
// give it, with the months, the year before and the reach of its charts.
package calendar

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// Period is a span of study dates, both ends included.
type Period struct {
	Name     string // 2026-10, 2026-Q3, 2026, or 2026-10-05 to 2026-10-11
	From, To time.Time
}

// Month reads 2026-10.
func Month(text string) (Period, error) {
	from, err := time.Parse("2006-01", text)
	if err != nil {
		return Period{}, fmt.Errorf("month %q: no such month; it is written as 2026-10", text)
	}
	return Period{text, from, from.AddDate(0, 1, -1)}, nil
}

// Quarter reads 2026-Q3.
func Quarter(text string) (Period, error) {
	year, quarter, ok := strings.Cut(text, "-Q")
	y, err1 := strconv.Atoi(year)
	q, err2 := strconv.Atoi(quarter)
	if !ok || err1 != nil || err2 != nil || len(year) != 4 || q < 1 || q > 4 {
		return Period{}, fmt.Errorf("quarter %q: no such quarter; it is written as 2026-Q3", text)
	}
	from := time.Date(y, time.Month(3*q-2), 1, 0, 0, 0, 0, time.UTC)
	return Period{text, from, from.AddDate(0, 3, -1)}, nil
}

// Year reads 2026.
func Year(text string) (Period, error) {
	from, err := time.Parse("2006", text)
	if err != nil {
		return Period{}, fmt.Errorf("year %q: no such year; it is written as 2026", text)
	}
	return Period{text, from, from.AddDate(1, 0, -1)}, nil
}

// Between reads two dates, 2026-10-05 and 2026-10-11.
func Between(from, to string) (Period, error) {
	a, err1 := time.Parse(time.DateOnly, from)
	b, err2 := time.Parse(time.DateOnly, to)
	if err1 != nil || err2 != nil {
		return Period{}, fmt.Errorf("dates %q and %q are not both written as 2026-10-05", from, to)
	}
	if b.Before(a) {
		return Period{}, fmt.Errorf("the period ends on %s, before it begins on %s", to, from)
	}
	return Period{from + " to " + to, a, b}, nil
}

// Holds reports whether a date lies in the period.
func (p Period) Holds(d time.Time) bool { return !d.IsZero() && !d.Before(p.From) && !d.After(p.To) }

// Look is the period with the months before it that the charts show: twelve
// months up to its end, or the period itself where that is longer.
func (p Period) Look() Period {
	from := MonthOf(p.To).AddDate(0, -11, 0)
	if p.From.Before(from) {
		from = MonthOf(p.From)
	}
	return Period{p.Name, from, p.To}
}

// YearBefore is the same period a year earlier; one that ends with a month ends
// with that month.
func (p Period) YearBefore() Period {
	to := p.To.AddDate(0, 0, 1).AddDate(-1, 0, -1)
	return Period{p.Name, p.From.AddDate(-1, 0, 0), to}
}

// Reach is Look with the same months of the year before.
func (p Period) Reach() Period {
	look := p.Look()
	return Period{p.Name, look.YearBefore().From, look.To}
}

// Words name the period as one would say it.
func (p Period) Words() string {
	const day = "2 January 2006"
	next := p.To.AddDate(0, 0, 1)
	whole := p.From.Day() == 1 && next.Day() == 1
	months := 12*(next.Year()-p.From.Year()) + int(next.Month()-p.From.Month())
	switch {
	case p.From.Equal(p.To):
		return p.From.Format(day)
	case whole && months == 1:
		return p.From.Format("January 2006")
	case whole && months == 12 && p.From.Month() == time.January:
		return p.From.Format("2006")
	case whole:
		return p.From.Format("January 2006") + " to " + p.To.Format("January 2006")
	}
	return p.From.Format(day) + " to " + p.To.Format(day)
}

// Months are the first days of the months that the period touches.
func (p Period) Months() []time.Time {
	var out []time.Time
	for m := MonthOf(p.From); !m.After(p.To); m = m.AddDate(0, 1, 0) {
		out = append(out, m)
	}
	return out
}

// ParsePeriod reads a month, 2026-10, a quarter, 2026-Q3, a year, 2026, or two dates,
// 2026-10-05 to 2026-10-11.
func ParsePeriod(text string) (Period, error) {
	from, to, two := strings.Cut(text, " to ")
	switch {
	case two:
		return Between(from, to)
	case strings.Contains(text, "-Q"):
		return Quarter(text)
	case strings.Contains(text, "-"):
		return Month(text)
	}
	return Year(text)
}

// Spans lists the years, quarters and months that dates of the period lie in, the
// latest first, each by what [ParsePeriod] reads.
func (p Period) Spans() (years, quarters, months []string) {
	all := p.Months()
	add := func(to *[]string, name string) {
		if n := len(*to); n == 0 || (*to)[n-1] != name {
			*to = append(*to, name)
		}
	}
	for i := len(all) - 1; i >= 0; i-- {
		m := all[i]
		add(&years, strconv.Itoa(m.Year()))
		add(&quarters, fmt.Sprintf("%d-Q%d", m.Year(), (int(m.Month())+2)/3))
		add(&months, m.Format("2006-01"))
	}
	return years, quarters, months
}

// MonthOf is the first day of the month of a date.
func MonthOf(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), 1, 0, 0, 0, 0, time.UTC)
}
