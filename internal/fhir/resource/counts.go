package resource

import (
	"encoding/json"
	"strconv"
	"time"
)

// Counts are the populations of a measure over some studies.
type Counts struct{ Initial, Denominator, Exclusion, Exception, Numerator int }

// Stamp writes an instant.
func Stamp(t time.Time) string { return t.UTC().Format(time.RFC3339) }

// Improves says that more is better.
func Improves() *CodeableConcept {
	return Concept(improvements, "increase", "Increased score indicates improvement")
}

// Population is a code of a population.
func Population(code, display string) *CodeableConcept { return Concept(populations, code, display) }

// Canonical is the address of a measure in a version, "" for any.
func Canonical(identifier, version string) string {
	url := Address(identifier)
	if version == "" {
		return url
	}
	return url + "|" + version
}

// Group are the counts with the score, which has none where nothing is counted.
func (c Counts) Group() ReportGroup {
	say := func(code, display string, n int) ReportPopulation {
		return ReportPopulation{Population(code, display), n}
	}
	out := ReportGroup{Population: []ReportPopulation{
		say("initial-population", "Initial Population", c.Initial), say("denominator", "Denominator", c.Denominator),
		say("denominator-exclusion", "Denominator Exclusion", c.Exclusion), say("denominator-exception", "Denominator Exception", c.Exception),
		say("numerator", "Numerator", c.Numerator),
	}}
	if of := c.Denominator - c.Exclusion - c.Exception; of > 0 {
		percent := strconv.FormatFloat(100*float64(c.Numerator)/float64(of), 'f', 2, 64)
		out.MeasureScore = &Quantity{Value: json.Number(percent), Unit: "%", System: Units, Code: "%"}
	}
	return out
}

// Address is the address of the measure of an identifier.
func Address(identifier string) string { return measureRoot + identifier }
