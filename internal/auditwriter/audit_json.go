package auditwriter

import (
	"io"

	"echotally/internal/audit"
	"echotally/internal/layout"
	"echotally/internal/table/record"
)

// labAuditRecord is the lab audit as machines get it. Schema file:
// schema/audit.schema.json.
type labAuditRecord struct {
	SchemaVersion   string           `json:"schemaVersion"`
	Caution         string           `json:"caution"`
	Period          string           `json:"period"`
	From            string           `json:"from"`
	To              string           `json:"to"`
	Lab             string           `json:"lab"`
	LabName         string           `json:"labName,omitempty"`
	Prepared        string           `json:"prepared,omitempty"`
	WhatIf          *whatIfRecord    `json:"whatIf,omitempty"`
	Notes           string           `json:"notes,omitempty"`
	Marks           []markRecord     `json:"marks,omitempty"`
	Cutoff          string           `json:"cutoff"`
	Created         string           `json:"created"`
	SoftwareVersion string           `json:"softwareVersion"`
	RuleSet         string           `json:"ruleSet"`
	Edition         string           `json:"edition"`
	Received        int              `json:"received"`
	Eligible        int              `json:"eligible"`
	Excluded        []excludedRecord `json:"excluded"`
	Undated         int              `json:"undated"`
	FalseCharts     float64          `json:"expectedFalseChartSignals"`
	Tests           int              `json:"tests"`
	Discovery       float64          `json:"falseDiscoveryRate"`
	Proposals       []proposalRecord `json:"proposals"`
	Tables          []record.Record  `json:"tables"`
}

// whatIfRecord tells that this is no audit by the rules in force.
type whatIfRecord struct {
	RuleSet string             `json:"insteadOfRuleSet"`
	Edition string             `json:"insteadOfEdition"`
	Studies int                `json:"studiesThatDiffer"`
	Rules   []ruleChangeRecord `json:"rules"`
}

type ruleChangeRecord struct {
	Rule    string   `json:"rule"`
	Changes []string `json:"changes"`
}

// markRecord is what the charts mark.
type markRecord struct {
	Mark  string `json:"mark"`
	Date  string `json:"date"`
	Title string `json:"title"`
}

type excludedRecord struct {
	Reason string `json:"reason"`
	Count  int    `json:"count"`
}

type proposalRecord struct {
	Text    string  `json:"text"`
	Measure string  `json:"measure"`
	Studies float64 `json:"studies"`
}

func auditJSON(w io.Writer, r *audit.Report) error {
	h := headingOf(r)
	out := labAuditRecord{
		SchemaVersion: SchemaVersion, Caution: layout.Caution, Period: r.Options.Period.Name, From: r.Options.Period.From.Format("2006-01-02"),
		To: r.Options.Period.To.Format("2006-01-02"), Lab: r.Options.Lab, Cutoff: h.Cutoff, Created: h.Created, SoftwareVersion: h.Software, RuleSet: h.RuleSet, Edition: h.Edition,
		Received: r.Received, Eligible: r.Eligible, Excluded: []excludedRecord{}, Undated: r.Undated, FalseCharts: r.Chance.FalseChart,
		Tests: r.Chance.Tests, Discovery: r.Chance.Discovery, Proposals: []proposalRecord{},
	}
	out.LabName, out.Prepared, out.Notes = r.LabName(), r.Options.Prepared, r.Notes.Words()
	if w := r.Other; w != nil {
		out.WhatIf = &whatIfRecord{w.Before.RuleSet, w.Before.Edition, w.Studies.Count, []ruleChangeRecord{}}
		for _, c := range w.Changed {
			out.WhatIf.Rules = append(out.WhatIf.Rules, ruleChangeRecord{c.Identifier, c.What})
		}
	}
	for _, m := range r.Marks() {
		out.Marks = append(out.Marks, markRecord{m.Mark, m.At.Format("2006-01-02"), m.Title})
	}
	for _, e := range r.Excluded {
		out.Excluded = append(out.Excluded, excludedRecord{e.Reason, e.Count})
	}
	for _, p := range r.Proposals {
		out.Proposals = append(out.Proposals, proposalRecord{p.Text, p.Measure, p.Studies})
	}
	for _, t := range r.Tables {
		out.Tables = append(out.Tables, record.Of(t))
	}
	return layout.Encode(w, true, out)
}
