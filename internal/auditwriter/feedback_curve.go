package auditwriter

import (
	"fmt"

	"echotally/internal/audit"
	"echotally/internal/booklet"
	"echotally/internal/layout"
	"echotally/internal/plot"
	"echotally/internal/table"
)

// feedbackCurve is the learning curve of the person in words and drawn.
type feedbackCurve struct {
	Lines []string
	Card  booklet.Card
}

// decisionsTold is how many decisions of a curve are told in words, the latest;
// the figure shows all.
const decisionsTold = 4

func newFeedbackCurve(c *audit.Curve) (*feedbackCurve, error) {
	if c == nil {
		return nil, nil
	}
	card, err := booklet.NewCard(booklet.Chart{Figure: curveFigure(c)})
	return &feedbackCurve{curveLines(c), card}, err
}

func curveFigure(c *audit.Curve) *plot.Figure {
	drawn := booklet.Curve{Identifier: "learning-curve", Title: c.Measure.Title + ", study by study", Of: "study", Test: c.Test}
	for _, s := range c.Studies {
		drawn.Met, drawn.Dates = append(drawn.Met, s.Met), append(drawn.Dates, s.Date)
	}
	return drawn.Figure(500, 150)
}

// curveLines tell what the curve says to who cannot see it.
func curveLines(c *audit.Curve) []string {
	r := c.Rates
	out := []string{fmt.Sprintf("%s in %s of the studies from %s to %s, taken in order; shown for who is learning (%s). A sequential test asks again and again whether rather %.3g %% (acceptable) or rather %.3g %% of them lack something; of the tests of an acceptable rate about %g %% ask for a look, of those of the other about %g %% pass.",
		c.Measure.Title, table.Percent(c.Met()), c.Period.From.Format("2006-01-02"), c.Period.To.Format("2006-01-02"), c.Why, 100*r.Acceptable, 100*r.Unacceptable, 100*r.Alpha, 100*r.Beta),
		r.Limits()}
	decisions := c.Test.Decisions
	if len(decisions) == 0 {
		out = append(out, "It cannot tell yet.")
	}
	if more := len(decisions) - decisionsTold; more > 0 {
		accepted := 0
		for _, d := range decisions[:more] {
			if d.Acceptable {
				accepted++
			}
		}
		out = append(out, fmt.Sprintf("Before these: %s acceptable, %d to look at.", layout.CountOf(accepted, "time", "times"), more-accepted))
		decisions = decisions[more:]
	}
	for _, d := range decisions {
		word := "look at it together"
		if d.Acceptable {
			word = "acceptable"
		}
		out = append(out, fmt.Sprintf("At study %d, %s: %s.", d.At+1, c.Studies[d.At].Date.Format("2006-01-02"), word))
	}
	if c.Unsure > 0 {
		out = append(out, fmt.Sprintf("The order within the day is not known of %s.", layout.CountOf(c.Unsure, "study", "studies")))
	}
	return out
}

// curveText writes the curve into the sheet for the screen.
func curveText(p layout.Printer, c *audit.Curve) {
	if c == nil {
		return
	}
	p.Line("")
	p.Line("LEARNING CURVE")
	for _, l := range curveLines(c) {
		p.Wrapped("  ", l)
	}
}
