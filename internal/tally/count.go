package tally

import (
	"echotally/internal/finding"
	"echotally/internal/stats"
)

// Effect is what a waiver does to the figure with exceptions. The strict figure
// never changes.
type Effect string

// Effects of waivers.
const (
	Exception Effect = "exception" // taken out of the denominator when not measured
	Exclusion Effect = "exclusion" // taken out of the denominator
	StaysOpen Effect = "missing"   // told, and counted as missing
)

// Waiver is a reason given by the lab for something not measured.
type Waiver struct {
	Rule, Reason string
	Effect       Effect
	Late         bool // given after sign-off
}

// Waived returns the waiver of a rule, nil when there is none.
func Waived(waivers []Waiver, rule string) *Waiver {
	for i := range waivers {
		if waivers[i].Rule == rule {
			return &waivers[i]
		}
	}
	return nil
}

// Standing is what becomes of one demand in the two figures.
type Standing int

// Standings of a demand.
const (
	notAsked  Standing = iota
	Satisfied          // in both figures
	Missing            // in both figures
	Excepted           // missing in the strict figure, out of the other
	CannotSay          // in neither, told beside them
)

// Stands tells how a completeness result counts beside the waivers of its study.
func (r Result) Stands(waivers []Waiver) Standing {
	switch r.Outcome {
	case finding.Pass:
		return Satisfied
	case finding.Open, finding.Review:
		return CannotSay
	case finding.Excused:
		return Excepted
	case finding.Fail:
		if w := Waived(waivers, r.Rule.Identifier); w != nil && w.Effect != StaysOpen {
			return Excepted
		}
		return Missing
	}
	return notAsked
}

// Count is a demand counted over studies.
type Count struct{ Met, Missing, Excepted, Open int }

// Add counts how the demand stands for one more study.
func (t *Count) Add(s Standing) { t.AddTimes(s, 1) }

// AddTimes counts how it stands for n more.
func (t *Count) AddTimes(s Standing, n int) {
	switch s {
	case Satisfied:
		t.Met += n
	case Missing:
		t.Missing += n
	case Excepted:
		t.Excepted += n
	case CannotSay:
		t.Open += n
	}
}

// Strict counts every exception as missing.
func (t Count) Strict() stats.Proportion {
	return stats.Proportion{Count: t.Met, Total: t.Met + t.Missing + t.Excepted}
}

// Lenient leaves the exceptions out of the denominator.
func (t Count) Lenient() stats.Proportion {
	return stats.Proportion{Count: t.Met, Total: t.Met + t.Missing}
}

// Sums are what the measures ask of a study's results, taken together once.
type Sums struct {
	All, Conditional Count // grave completeness rules, and those asked for by a finding
	Notes            Count // the other completeness rules
	Contradictions   int   // grave consistency rules that failed
}

// Sum takes the results together, waivers considered.
func (o *Outcomes) Sum(waivers []Waiver) Sums {
	var out Sums
	if o == nil {
		return out
	}
	for i, code := range o.codes {
		if code == 0 {
			continue
		}
		is := &said[code]
		switch rule := o.rules[i]; rule.Kind {
		case finding.Completeness:
			at := Result{Rule: rule, Outcome: is.outcome, Severity: is.severity}.Stands(waivers)
			if rule.Note() {
				out.Notes.Add(at)
			}
			if is.grave {
				out.All.Add(at)
				if rule.Conditional {
					out.Conditional.Add(at)
				}
			}
		case finding.Consistency:
			if is.grave && is.outcome == finding.Fail {
				out.Contradictions++
			}
		}
	}
	return out
}

// Whole reports that the demand was met by every study it was made of.
func (t Count) Whole() bool { return t.Missing+t.Excepted+t.Open == 0 }
