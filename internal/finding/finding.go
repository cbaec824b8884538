// Package finding owns the result of putting one rule to one study: outcome,
// severity, words and evidence, and the order in which results are shown.
package finding

import "echotally/internal/echo"

// Outcome is what a rule came to. The words pass, fail, open, notApplicable
// and review are those of SARIF 2.1.0 section 3.27.9.
type Outcome string

// Outcomes. Open means "cannot tell" and is never shown as a pass.
const (
	Pass          Outcome = "pass"
	Fail          Outcome = "fail"
	Open          Outcome = "open"          // an input is missing or not comparable
	NotApplicable Outcome = "notApplicable" // the rule does not concern this study
	Review        Outcome = "review"        // a person must look
	Excused       Outcome = "excused"       // absent, with the reason recorded
)

// Severity uses FHIR issue-severity words.
type Severity string

// Severities, gravest first.
const (
	Error       Severity = "error"
	Warning     Severity = "warning"
	Information Severity = "information"
)

// Rank orders severities: error 3, warning 2, information 1, others 0.
func (s Severity) Rank() int {
	switch s {
	case Error:
		return 3
	case Warning:
		return 2
	case Information:
		return 1
	}
	return 0
}

// Kind tells on which list of the gap sheet a finding stands.
type Kind string

// Kinds of rule.
const (
	Completeness Kind = "completeness" // is it there?
	Consistency  Kind = "consistency"  // can it be true?
	Acquisition  Kind = "acquisition"  // was it recorded so that it can be judged?
	Form         Kind = "form"         // is the record itself in order?
)

// Evidence is one value a result relies on.
type Evidence struct {
	Alias       string
	Measurement *echo.Measurement // nil for evidence from a statement
	Statement   *echo.Statement   // nil for evidence from a measurement
	Note        string            // why this one of several counts
}

// Missing is an input that was not there.
type Missing struct {
	Alias     string
	Measurand string // measurand identifier, or statement identifier, or "patient-sex" etc.
	Title     string // in words
	Reason    string // "not measured", "no value", "unit not understood", ...
}

// Hypothesis is a likely cause: a single slip which, undone, makes the failed
// relation hold.
type Hypothesis struct {
	Identifier string `json:"identifier"` // e.g. "unit-factor-10"
	Text       string `json:"text"`       // arithmetic in words
	Measurand  string `json:"measurand,omitempty"`
}

// Obtain says where and how a missing item is got.
type Obtain struct {
	Window string // scanning window: parasternal, apical, subcostal, suprasternal, right parasternal, none
	View   string
	How    string
}

// Result is the outcome of one rule on one study.
type Result struct {
	Rule, Version string
	Title         string
	Kind          Kind
	Structure     string // folder of the rule: tricuspid-valve, right-ventricle, ...
	Outcome       Outcome
	Severity      Severity
	Message       string // for fail and review: both numbers and the arithmetic; for open: what is missing
	Usage         string // what to do
	Source        string // short citation
	Measurands    []string
	Missing       []Missing
	Evidence      []Evidence
	Variant       string // which form of the formula fitted, when there are several
	Obtain        *Obtain
	Causes        []Hypothesis
	Suspect       string
}
