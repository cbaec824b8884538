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
	Segment     *echo.Segment     // how a part of the left ventricular wall moves; nil for all other evidence
	Image       *echo.Image       // of which only the header was read; nil for evidence from a report
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
	Between       bool // compares with an earlier study, so that no slip of this one was looked for
}

// Reconciliation is the study's redundant measurements taken together: the
// values closest to what was measured that satisfy every relation, and the
// measurement that explains a misfit.
type Reconciliation struct {
	Relations []RelationUse // those that were used, and those set aside with the reason
	ChiSquare float64
	Freedom   int
	PValue    float64
	Level     float64 // family-wise error level of the measurement test
	Critical  float64 // critical normalised residual
	Residuals []Residual
	Suspects  [][]Suspect // per round; several in one round cannot be told apart
	Settled   bool        // what remains fits together
	Problem   string      // why there is no solution, "" when there is one
}

// RelationUse is a relation and whether it was used.
type RelationUse struct {
	Identifier, Title string
	Aside             string // why it was set aside, "" when used
}

// Residual is one measurement against what the others imply.
type Residual struct {
	Measurand   string
	Measurement *echo.Measurement
	Value       float64
	Reconciled  float64
	Unit        string
	Z           float64 // 0 and Testable false when nothing else bears on it
	Testable    bool
}

// Suspect is a measurement that does not fit, with what the others imply.
type Suspect struct {
	Measurand   string
	Title       string
	Measurement *echo.Measurement
	Value       float64
	Estimate    float64
	Low, High   float64 // 95 % interval
	Unit        string
	Z           float64
	Estimable   bool
	Causes      []Hypothesis // slips that would turn the implied value into the recorded one
}
