package agreement

import (
	"fmt"
	"time"

	"echotally/internal/audit"
	"echotally/internal/stats/sequential"
	"echotally/internal/table"
)

// Failure rates that the learning curve tells apart: 10 % outside the tolerance is
// acceptable, as for learners of ultrasound measurements in Weerasinghe 2006 (secondary
// source); more than the pass rule allows is not.
const (
	acceptableMiss   = 0.10
	unacceptableMiss = 1 - Pass
)

// Curve is how a reader did from thing to thing, in the order of entering.
type Curve struct {
	Reader string // code of the report
	Met    []bool
	Dates  []time.Time // of the studies
	Test   sequential.Learning
}

// learning follows each reader from case to case.
func (c *comparison) learning() table.Table {
	l := audit.DefaultLearning()
	test := sequential.NewLearning(nil, acceptableMiss, unacceptableMiss, l.Alpha, l.Beta)
	t := table.Table{
		Identifier: "learning", Title: "Learning curves: within the tolerance",
		Note: fmt.Sprintf("Measure: things read again, in the order in which they were entered; a failure lies outside the tolerance. Every second reader is followed, by a code of this report: the list of staff knows no trainee among readers. Acceptable is a failure rate of %.3g %% (as for learners of ultrasound measurements, Weerasinghe 2006, a secondary source), unacceptable one of %.3g %% (what the pass rule does not allow any more). The sum of failures over what is to be expected is acceptable at −%.2f and to be looked at from +%.2f, with error rates of %g and %g (%s).", 100*acceptableMiss, 100*unacceptableMiss, test.Accept, test.Review, l.Alpha, l.Beta, audit.LimitsFrom),
		Columns: []table.Column{
			{Identifier: "reader", Title: "Reader", Kind: table.Words, Meaning: "code of this report"}, {Identifier: "things", Title: "Things", Kind: table.Count, Meaning: "things compared"},
			{Identifier: "failures", Title: "Outside tolerance", Kind: table.Count, Meaning: "of them outside the tolerance"}, {Identifier: "state", Title: "So far", Kind: table.Words, Meaning: "what the curve says"},
		},
	}
	for _, name := range c.readers() {
		var failures []bool
		failed := 0
		one := Curve{Reader: c.code(name)}
		for _, p := range c.pairs {
			if p.reader != name || p.missing || p.unmeasured || p.own {
				continue
			}
			met := c.within(p)
			failures, one.Met, one.Dates = append(failures, !met), append(one.Met, met), append(one.Dates, p.date)
			if !met {
				failed++
			}
		}
		if len(failures) == 0 {
			continue
		}
		one.Test = sequential.NewLearning(failures, acceptableMiss, unacceptableMiss, l.Alpha, l.Beta)
		if len(failures) >= Enough {
			c.report.Curves = append(c.report.Curves, one)
		}
		t.Add(table.TextCell(one.Reader), table.CountCell(len(failures)), table.CountCell(failed), table.TextCell(stateOf(one.Test)))
	}
	return t
}

// stateOf tells the last decision of a learning curve.
func stateOf(curve sequential.Learning) string {
	if len(curve.Decisions) == 0 {
		return "no decision yet"
	}
	last := curve.Decisions[len(curve.Decisions)-1]
	if last.Acceptable {
		return fmt.Sprintf("acceptable at thing %d", last.At+1)
	}
	return fmt.Sprintf("asks for a look at thing %d", last.At+1)
}
