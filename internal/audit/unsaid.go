package audit

import (
	"maps"
	"slices"

	"echotally/internal/finding"
	"echotally/internal/table"
)

// unsaid counts what is a matter of how the lab and its scanners report: it is said
// here once, and on no gap sheet.
func (r *builder) unsaid() table.Table {
	t := table.Table{
		Identifier: "reporting", Title: "What the reports of this lab do not say",
		Note: "Rules about how the lab and its scanners report, which no single study can mend and no gap sheet shows. Read studies to which the rule applies.",
		Columns: []table.Column{
			table.MachineColumn("rule", "Rule", table.Words, "identifier of the rule"), table.NewColumn("title", "What must hold", table.Words, "title of the rule"),
			table.NewColumn("not_said", "Not so, or not said", table.Share, "studies in which it did not hold, or in which the record says too little to tell"),
		}, PlainMeans: "said in every study",
	}
	by := demandsOf{}
	for res, n := range r.results(class.read) {
		if res.Rule.PerLab || res.Rule.OpenPerLab && (res.Outcome == finding.Open || res.Outcome == finding.Pass) {
			by.of(res.Rule).AddTimes(res.Stands(nil), n) // with a waiver or without one it is not said
		}
	}
	for _, name := range slices.Sorted(maps.Keys(by)) {
		d := by[name]
		not, all := d.Missing+d.Excepted+d.Open, d.Met+d.Missing+d.Excepted+d.Open
		t.AddPlainIf(not == 0, table.TextCell(name), table.TextCell(d.rule.Title), table.ProportionCell(not, all))
	}
	return t
}
