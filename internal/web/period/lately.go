package period

import (
	"time"

	"echotally/internal/audit"
	"echotally/internal/calendar"
	"echotally/internal/counted"
	"echotally/internal/web/frame"
)

// Lately gives the choices and the studies of the twelve months up to the last study
// there is.
func (p *Pages) Lately(c *frame.Call) (audit.Options, []counted.Study, error) {
	a, err := lately(c)
	if err != nil {
		return audit.Options{}, nil, err
	}
	list, err := studies(c, a.period)
	return p.options(c, a), list, err
}

// LatelyReport is the audit of these months.
func (p *Pages) LatelyReport(c *frame.Call) (*audit.Report, error) {
	a, err := lately(c)
	if err != nil {
		return nil, err
	}
	r, _, err := p.report(c, a)
	return r, err
}

// ReportOf is the audit of a period.
func (p *Pages) ReportOf(c *frame.Call, of calendar.Period) (*audit.Report, error) {
	r, _, err := p.report(c, asked{period: of, name: of.Name})
	return r, err
}

func lately(c *frame.Call) (asked, error) {
	stats, err := c.Lab.Statistics(c.R.Context())
	if err != nil {
		return asked{}, err
	}
	last, err := time.Parse(time.DateOnly, stats.Last)
	if err != nil {
		last = c.Now().UTC()
	}
	from := time.Date(last.Year(), last.Month()-11, 1, 0, 0, 0, 0, time.UTC)
	to := time.Date(last.Year(), last.Month()+1, 0, 0, 0, 0, 0, time.UTC)
	a := asked{period: calendar.Period{From: from, To: to}}
	a.name = dates(a.period)
	a.period.Name = a.name
	return a, nil
}

// Chosen gives the choices and the studies of the period that an address names, of the
// twelve months up to the last study where it names none, and what else there is to
// choose. Only whole months, quarters and years can be: the difference of two periods
// that overlap would tell of single persons.
func (p *Pages) Chosen(c *frame.Call) (audit.Options, []counted.Study, []Choices, error) {
	a, all, err := chosen(c)
	if err != nil {
		return audit.Options{}, nil, nil, err
	}
	list, err := studies(c, a.period)
	return p.options(c, a), list, all, err
}

// ChosenReport is the audit of that period.
func (p *Pages) ChosenReport(c *frame.Call) (*audit.Report, []Choices, error) {
	a, all, err := chosen(c)
	if err != nil {
		return nil, nil, err
	}
	r, _, err := p.report(c, a)
	return r, all, err
}

func chosen(c *frame.Call) (asked, []Choices, error) {
	held, err := Held(c)
	if err != nil {
		return asked{}, nil, err
	}
	name := c.R.URL.Query().Get("period")
	all := Spans(name, held)
	if name == "" {
		a, err := lately(c)
		return a, all, err
	}
	for _, group := range all {
		for _, o := range group.Options {
			if o.Chosen && group.Label != unlisted {
				a := asked{name: name}
				a.period, err = calendar.ParsePeriod(name)
				return a, all, err
			}
		}
	}
	return asked{}, nil, frame.Bad("There are no studies of this period.", "Choose one of the list.")
}
