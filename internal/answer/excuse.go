package answer

import (
	"slices"

	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/measurand"
	"echotally/internal/statement"
)

// ReasonFor is the statement that says why a measurement holds no value, nil
// when there is none.
func (r *Reading) ReasonFor(m *echo.Measurement) *echo.Statement {
	for _, st := range r.said[statement.ReasonRecorded] {
		if st.Measurement != nil && *st.Measurement == m.Source {
			return st
		}
	}
	return nil
}

// CoveringStudy is the statement that excuses whatever is absent.
func (r *Reading) CoveringStudy() *echo.Statement {
	return r.covering(func(c statement.Covers) bool { return c.Study })
}

// Covering is a statement that explains why what an expression asks for was not
// measured: each name without a value is of a window or structure that it
// says could not be seen, or it names the measurand. nil when nothing is asked
// for in vain, or not all of it is explained; of several the first is given.
func (a *Answers) Covering(p *expr.Program) *echo.Statement {
	var first *echo.Statement
	for _, in := range p.Inputs {
		b := a.Binding(in.Name)
		if b == nil || len(b.Items) > 0 {
			continue
		}
		why := a.covering(func(c statement.Covers) bool {
			return !slices.ContainsFunc(b.Alias.Measurands, func(m *measurand.Measurand) bool { return !covers(c, m) })
		})
		if why == nil {
			return nil
		}
		if first == nil {
			first = why
		}
	}
	return first
}

func covers(c statement.Covers, m *measurand.Measurand) bool {
	return slices.Contains(c.Structures, m.Structure) || slices.Contains(c.Measurands, m.Identifier) ||
		m.Obtain != nil && slices.Contains(c.Windows, m.Obtain.Window)
}

// covering is the first statement made whose covers satisfy a condition.
func (r *Reading) covering(fit func(statement.Covers) bool) *echo.Statement {
	for _, d := range r.Library.Statements.Definitions {
		if !d.Covers.Any() || !fit(d.Covers) {
			continue
		}
		for _, st := range r.saidOf(d) {
			if !st.Negated {
				return st
			}
		}
	}
	return nil
}
