package period

import (
	"context"

	"echotally/internal/audit"
	"echotally/internal/calendar"
	"echotally/internal/fhir/service"
	"echotally/internal/web/frame"
)

// FHIR answers other systems of the lab with the measures of a period.
func (p *Pages) FHIR(c *frame.Call) error {
	return c.Hand("/fhir", &service.Handler{Failed: c.Failed, Report: func(_ context.Context, of calendar.Period) (*audit.Report, error) {
		r, _, err := p.report(c, asked{period: of, name: of.Name})
		if frame.BeingMade(err) {
			return nil, service.ErrCounting
		}
		if err != nil || r.Received == 0 {
			return nil, err
		}
		return r, nil
	}})
}
