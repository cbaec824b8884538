package agreement

import (
	"echotally/internal/stats/reliability"
	"echotally/internal/table"
)

// intraclass is all six forms of the intraclass correlation, since the same readings
// give quite different ones and papers do not always say which they took.
func (c *comparison) intraclass() table.Table {
	t := table.Table{
		Identifier: "intraclass", Title: "Intraclass correlation, all six forms",
		Note: "The forms of Shrout and Fleiss 1979, reported and second value as the two readings of a case, with 95 % intervals. (1): the cases have different readers; (2): the readers stand for all readers, absolute agreement; (3): these readers only, consistency, blind to bias. 1: of one reading; k: of the mean of both. Where several second readers share the cases, (1,1) is apt; where one read all of them, (2,1).",
		Columns: []table.Column{
			{Identifier: "measurement", Title: "Measurement", Kind: table.Words, Meaning: "what was measured again"}, {Identifier: "pairs", Title: "Pairs", Kind: table.Count, Meaning: "cases with both values, by another reader"},
		},
	}
	for _, f := range reliability.Forms() {
		t.Columns = append(t.Columns, table.Column{Identifier: "icc_" + string(f[0]) + "_" + string(f[2]), Title: "(" + string(f) + ")", Kind: table.Estimate, Meaning: "intraclass correlation, form " + string(f)})
	}
	for _, m := range c.items.Measurements {
		for _, one := range m.Measurands {
			pairs := c.of([]string{one.Identifier}, others)
			if len(pairs) < 3 {
				continue
			}
			var readings [][]float64
			for _, p := range pairs {
				readings = append(readings, []float64{p.was, p.is})
			}
			icc := reliability.NewIntraclass(readings, table.Confidence)
			row := []table.Cell{table.TextCell(one.Title), table.CountCell(len(pairs))}
			for _, f := range reliability.Forms() {
				row = append(row, table.EstimateCell(icc.Of(f).Value, icc.Of(f).Interval))
			}
			t.Add(row...)
		}
	}
	return t
}
