package fhir

import (
	"encoding/json"
	"strconv"
	"time"

	"echotally/internal/audit"
	"echotally/internal/finding"
	"echotally/internal/layout"
)

// counts are the populations of a measure over some studies.
type counts struct{ initial, denominator, exclusion, exception, numerator int }

// share is a measure with what it counts, in words.
type share struct {
	identifier, title, description string
	asks                           string // which studies are excluded, in words
	counts
}

// Summary gives the measures of a period: the headline measures, and each rule that
// applied, as a definition and a report of it.
func Summary(r *audit.Report) *Bundle {
	o := r.Options
	out := &Bundle{
		ResourceType: "Bundle", ID: ID("summary", r.LabName(), o.Period.Name), Meta: Cautioned(), Type: "collection", Timestamp: Stamp(o.Created),
	}
	for _, s := range shares(r) {
		m, report := s.measure(o.RuleSet), s.report(r)
		out.Entry = append(out.Entry, entry(m.ID, m), entry(report.ID, report))
	}
	return out
}

// Stamp writes an instant.
func Stamp(t time.Time) string { return t.UTC().Format(time.RFC3339) }

// shares are the measures of a report, headlines first.
func shares(r *audit.Report) []share {
	var out []share
	for _, h := range r.Headlines {
		out = append(out, share{
			identifier: h.Measure.Identifier, title: h.Measure.Title, description: h.Measure.Meaning, asks: "studies of which it cannot be told",
			counts: counts{r.Received, h.Now.Total + h.Untold, h.Untold, 0, h.Now.Count},
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
			counts: counts{r.Received, c.Of, c.Of - c.Asked(), c.Reason, c.Met},
		})
	}
	return out
}

// improves says that more is better.
func improves() *CodeableConcept {
	return one(improvements, "increase", "Increased score indicates improvement")
}

func (s share) url() string { return measureRoot + s.identifier }

// population is a code of a population.
func population(code, display string) *CodeableConcept { return one(populations, code, display) }

// populationWords are the populations in the order in which they are counted.
func (s share) populationWords() []MeasurePopulation {
	say := func(code, display, what string) MeasurePopulation {
		return MeasurePopulation{Code: population(code, display), Description: what, Criteria: Expression{Language: "text/plain", Expression: what}}
	}
	return []MeasurePopulation{
		say("initial-population", "Initial Population", "studies of the period that were received; the unit is the study, not the patient"),
		say("denominator", "Denominator", "studies that are eligible for the measure"),
		say("denominator-exclusion", "Denominator Exclusion", s.asks),
		say("denominator-exception", "Denominator Exception", "studies in which it is not met, with the reason recorded"),
		say("numerator", "Numerator", "studies in which it is met: "+s.description),
	}
}

func (s share) measure(version string) *Measure {
	return &Measure{
		ResourceType: "Measure", ID: ID("measure", s.identifier), Meta: Cautioned(), URL: s.url(), Version: version, Title: words(s.title), Status: "active",
		SubjectCodeableConcept: &CodeableConcept{Coding: []Coding{{System: resources, Code: "ImagingStudy"}}, Text: "the study is the unit"},
		Description:            words(s.description), Disclaimer: layout.Caution, Scoring: one(scorings, "proportion", "Proportion"),
		Type: []CodeableConcept{*one(kinds, "process", "Process")}, ImprovementNotation: improves(), Group: []MeasureGroup{{Population: s.populationWords()}},
	}
}

func (s share) report(r *audit.Report) *MeasureReport {
	o := r.Options
	out := &MeasureReport{
		ResourceType: "MeasureReport", ID: reportID(r.LabName(), o.Period.Name, s.identifier), Meta: Cautioned(), Status: "complete", Type: "summary",
		Measure: canonical(s.url(), o.RuleSet), Date: Stamp(o.Created), Period: Period{o.Period.From.Format(time.DateOnly), o.Period.To.Format(time.DateOnly)},
		ImprovementNotation: improves(), Group: []ReportGroup{s.group()},
	}
	if name := words(r.LabName()); name != "" {
		out.Reporter = &Reference{Display: name}
	}
	return out
}

func reportID(lab, period, measure string) string { return ID("report", lab, period, measure) }

func canonical(url, version string) string {
	if version == "" {
		return url
	}
	return url + "|" + version
}

// group are the counts with the score, which has none where nothing is counted.
func (c counts) group() ReportGroup {
	say := func(code, display string, n int) ReportPopulation {
		return ReportPopulation{population(code, display), n}
	}
	out := ReportGroup{Population: []ReportPopulation{
		say("initial-population", "Initial Population", c.initial), say("denominator", "Denominator", c.denominator),
		say("denominator-exclusion", "Denominator Exclusion", c.exclusion), say("denominator-exception", "Denominator Exception", c.exception),
		say("numerator", "Numerator", c.numerator),
	}}
	if of := c.denominator - c.exclusion - c.exception; of > 0 {
		percent := strconv.FormatFloat(100*float64(c.numerator)/float64(of), 'f', 2, 64)
		out.MeasureScore = &Quantity{Value: json.Number(percent), Unit: "%", System: units, Code: "%"}
	}
	return out
}
