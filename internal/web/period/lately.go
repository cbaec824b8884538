package period

import (
	"time"

	"echotally/internal/audit"
	"echotally/internal/web/frame"
)

// Lately gives the choices and the studies of the twelve months up to the last study
// there is.
func (p *Pages) Lately(c *frame.Call) (audit.Options, []audit.Study, error) {
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

func lately(c *frame.Call) (asked, error) {
	stats, err := c.Lab.Ledger.Statistics(c.R.Context())
	if err != nil {
		return asked{}, err
	}
	last, err := time.Parse(time.DateOnly, stats.Last)
	if err != nil {
		last = c.Now().UTC()
	}
	from := time.Date(last.Year(), last.Month()-11, 1, 0, 0, 0, 0, time.UTC)
	to := time.Date(last.Year(), last.Month()+1, 0, 0, 0, 0, 0, time.UTC)
	a := asked{period: audit.Period{From: from, To: to}}
	a.name = dates(a.period)
	a.period.Name = a.name
	return a, nil
}
