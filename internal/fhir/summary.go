package fhir

import (
	"time"

	"echotally/internal/audit"
	"echotally/internal/fhir/resource"
	"echotally/internal/finding"
	"echotally/internal/layout"
)

// share is a measure with what it counts, in words.
type share struct {
	identifier, title, description string
	asks                           string // which studies are excluded, in words
	resource.Counts
}

// Summary gives the measures of a period: the headline measures, and each rule that
// applied, as a definition and a report of it.
func Summary(r *audit.Report) *resource.Bundle {
	o := r.Options
	out := &resource.Bundle{
		ResourceType: "Bundle", ID: resource.ID("summary", r.LabName(), o.Period.Name), Meta: resource.Cautioned(), Type: "collection", Timestamp: resource.Stamp(o.Created),
	}
	for _, s := range shares(r) {
		m, report := s.measure(o.RuleSet), s.report(r)
		out.Entry = append(out.Entry, resource.EntryOf(m.ID, m), resource.EntryOf(report.ID, report))
	}
	return out
}

// shares are the measures of a report, headlines first.
func shares(r *audit.Report) []share {
	var out []share
	for _, h := range r.Headlines {
		out = append(out, share{
			identifier: h.Measure.Identifier, title: h.Measure.Title, description: h.Measure.Meaning, asks: "studies of which it cannot be told",
			Counts: resource.Counts{Initial: r.Received, Denominator: h.Now.Total + h.Untold, Exclusion: h.Untold, Numerator: h.Now.Count},
		})
	}
	for _, c := range r.Rules {
		what := "eligible studies in which what the rule demands is there"
		if c.Rule.Kind == finding.Consistency {
			what = "read studies in which what the rule relates agrees"
		}
		out = append(out, share{
			identifier: "rule:" + c.Rule.Identifier, title: c.Rule.Title, description: what,
			asks:   "studies to which the rule does not apply, or of which it cannot be told",
			Counts: resource.Counts{Initial: r.Received, Denominator: c.Of, Exclusion: c.Of - c.Asked(), Exception: c.Reason, Numerator: c.Met},
		})
	}
	return out
}

// populationWords are the populations in the order in which they are counted.
func (s share) populationWords() []resource.MeasurePopulation {
	say := func(code, display, what string) resource.MeasurePopulation {
		return resource.MeasurePopulation{Code: resource.Population(code, display), Description: what, Criteria: resource.Expression{Language: "text/plain", Expression: what}}
	}
	return []resource.MeasurePopulation{
		say("initial-population", "Initial Population", "studies of the period that were received; the unit is the study, not the patient"),
		say("denominator", "Denominator", "studies that are eligible for the measure"),
		say("denominator-exclusion", "Denominator Exclusion", s.asks),
		say("denominator-exception", "Denominator Exception", "studies in which it is not met, with the reason recorded"),
		say("numerator", "Numerator", "studies in which it is met: "+s.description),
	}
}

func (s share) measure(version string) *resource.Measure {
	return &resource.Measure{
		ResourceType: "Measure", ID: resource.ID("measure", s.identifier), Meta: resource.Cautioned(), URL: resource.Address(s.identifier), Version: version, Title: resource.Words(s.title), Status: "active",
		SubjectCodeableConcept: &resource.CodeableConcept{Coding: []resource.Coding{{System: resource.ResourceTypes, Code: "ImagingStudy"}}, Text: "the study is the unit"},
		Description:            resource.Words(s.description), Disclaimer: layout.Caution, Scoring: resource.Concept(resource.Scorings, "proportion", "Proportion"),
		Type: []resource.CodeableConcept{*resource.Concept(resource.Kinds, "process", "Process")}, ImprovementNotation: resource.Improves(), Group: []resource.MeasureGroup{{Population: s.populationWords()}},
	}
}

func (s share) report(r *audit.Report) *resource.MeasureReport {
	o := r.Options
	out := &resource.MeasureReport{
		ResourceType: "MeasureReport", ID: reportID(r.LabName(), o.Period.Name, s.identifier), Meta: resource.Cautioned(), Status: "complete", Type: "summary",
		Measure: resource.Canonical(s.identifier, o.RuleSet), Date: resource.Stamp(o.Created), Period: resource.Period{Start: o.Period.From.Format(time.DateOnly), End: o.Period.To.Format(time.DateOnly)},
		ImprovementNotation: resource.Improves(), Group: []resource.ReportGroup{s.Group()},
	}
	if name := resource.Words(r.LabName()); name != "" {
		out.Reporter = &resource.Reference{Display: name}
	}
	return out
}

func reportID(lab, period, measure string) string { return resource.ID("report", lab, period, measure) }
