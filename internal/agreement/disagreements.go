package agreement

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"echotally/internal/table"
)

// talkedAbout is how many disagreements are printed, those farthest apart (site
// choice: what a meeting has time for); the other formats have all.
const talkedAbout = 10

// disagreements are what is to be talked about, the farthest apart first. Of several
// readers who differ in one thing of a case, the farthest stands for all in print.
func (c *comparison) disagreements() table.Table {
	t := table.Table{
		Identifier: "disagreements", Title: "To be talked about",
		Note:       "Pairs outside the tolerance, and grades that do not agree, the farthest apart first; review list says which study a case is. Which of two readings is right is not known.",
		PlainMeans: "less far apart or of a further reader",
		Columns: []table.Column{
			{Identifier: "draw", Title: "Draw", Kind: table.Count, Meaning: "number of the draw"}, {Identifier: "case", Title: "Case", Kind: table.Count, Meaning: "number of the case"},
			{Identifier: "what", Title: "What", Kind: table.Words, Meaning: "measurement or grade"}, {Identifier: "reported", Title: "Reported", Kind: table.Words, Meaning: "value or grade in the report"},
			{Identifier: "again", Title: "Read again", Kind: table.Words, Meaning: "value or grade of the second reader"},
			{Identifier: "apart", Title: "Apart", Kind: table.Words, Meaning: "how many times as far as the lab allows, or how many steps of the scale"},
			{Identifier: "reader", Title: "Reader", Kind: table.Words, Meaning: "code of this report"},
		},
	}
	var all []pair
	for _, p := range c.pairs {
		if !p.missing && !p.unmeasured && !c.within(p) {
			all = append(all, p)
		}
	}
	slices.SortStableFunc(all, func(a, b pair) int {
		return cmp.Or(cmp.Compare(c.apart(b), c.apart(a)), cmp.Compare(a.draw, b.draw), cmp.Compare(a.at, b.at))
	})
	seen, told := map[string]bool{}, 0
	for _, p := range all {
		was, is, apart := p.wasG, p.isG, ""
		if p.numeric {
			m := c.items.Measurement(p.item)
			was, is = fmt.Sprintf("%.4g %s", p.was, m.Unit.Code()), fmt.Sprintf("%.4g %s", p.is, m.Unit.Code())
			apart = fmt.Sprintf("%.1f times %s", c.apart(p), m.Tolerance())
		} else {
			n := c.items.Grade(p.item).Steps(p.wasG, p.isG)
			if apart = fmt.Sprintf("%d steps", n); n == 1 {
				apart = "1 step"
			}
		}
		row := []table.Cell{table.CountCell(p.draw), table.CountCell(p.at), table.TextCell(capital(c.titleOf(p.item))), table.TextCell(was), table.TextCell(is), table.TextCell(apart), table.TextCell(c.code(p.reader))}
		key := fmt.Sprint(p.draw, p.at, p.item)
		if seen[key] || told == talkedAbout {
			t.AddPlain(row...)
			continue
		}
		seen[key] = true
		told++
		t.Add(row...)
	}
	return t
}

func capital(text string) string { return strings.ToUpper(text[:1]) + text[1:] }

// apart is how many times as far the readings of a pair lie apart as the lab allows;
// half a step more than the steps that agree counts as once, so that grades stand
// among measurements.
func (c *comparison) apart(p pair) float64 {
	if p.numeric {
		return c.items.Measurement(p.item).Apart(p.was, p.is)
	}
	g := c.items.Grade(p.item)
	return float64(g.Steps(p.wasG, p.isG)) / (float64(g.Allowed()) + 0.5)
}
