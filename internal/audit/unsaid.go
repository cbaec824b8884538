package audit

import "echotally/internal/finding"

// unsaid counts what is a matter of how the lab and its scanners report: it is said
// here once, and on no gap sheet.
func (r *builder) unsaid() Table {
	t := Table{
		Identifier: "reporting", Title: "What the reports of this lab do not say",
		Note: "Rules about how the lab and its scanners report, which no single study can mend and no gap sheet shows. Read studies to which the rule applies.",
		Columns: []Column{
			machine("rule", "Rule", Words, "identifier of the rule"), column("title", "What must hold", Words, "title of the rule"),
			column("not_said", "Not so, or not said", Share, "studies in which it did not hold, or in which the record says too little to tell"),
		}, PlainMeans: "said in every study",
	}
	by := map[string]*demand{}
	for _, s := range r.now {
		for res := range s.Results.All() {
			if s.Unread || !res.Rule.PerLab && !(res.Rule.OpenPerLab && (res.Outcome == finding.Open || res.Outcome == finding.Pass)) {
				continue
			}
			if by[res.Rule.Identifier] == nil {
				by[res.Rule.Identifier] = &demand{rule: res.Rule}
			}
			by[res.Rule.Identifier].Add(s.Stands(res))
		}
	}
	for _, name := range sortedNames(by) {
		d := by[name]
		not, all := d.Missing+d.Excepted+d.Open, d.Met+d.Missing+d.Excepted+d.Open
		t.addPlain(not == 0, TextCell(name), TextCell(d.rule.Title), proportion(not, all))
	}
	return t
}
