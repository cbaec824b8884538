// Package finding owns what is found of one study, each part by itself: the
// result of putting one rule to it (outcome, severity, words, evidence), the
// protocols that hold, measurands with several values, how it was acquired, and
// how its redundant measurements fit together. The whole is a judgement.
//
// Every kept field has a number, which is never given to another one. Pointers
// into the study are not kept, the [Reference] beside them is.
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

// Severity uses FHIR issue-severity words, as machines and rule files have them;
// [Severity.Word] is what people are told.
type Severity string

// Severities, gravest first.
const (
	Error       Severity = "error"
	Warning     Severity = "warning"
	Information Severity = "information"
)

// Word is the severity in people's words: information is a note.
func (s Severity) Word() string {
	if s == Information {
		return "note"
	}
	return string(s)
}

// SeverityOf is the severity a word of people or of machines stands for.
func SeverityOf(word string) Severity {
	if word == Information.Word() {
		return Information
	}
	return Severity(word)
}

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

// Evidence is one value a result relies on. What it points at is kept as
// [Reference]; the pointers are for whoever has the study at hand.
type Evidence struct {
	Alias     string    `cbor:"1,keyasint,omitempty"`
	Reference Reference `cbor:"2,keyasint,omitempty"`
	Note      string    `cbor:"3,keyasint,omitempty"` // why this one of several counts

	Measurement *echo.Measurement `cbor:"-"` // nil for evidence from a statement
	Statement   *echo.Statement   `cbor:"-"` // nil for evidence from a measurement
	Segment     *echo.Segment     `cbor:"-"` // how a part of the left ventricular wall moves; nil for all other evidence
	Image       *echo.Image       `cbor:"-"` // of which only the header was read; nil for evidence from a report
}

// Missing is an input that was not there.
type Missing struct {
	Alias     string `cbor:"1,keyasint,omitempty"`
	Measurand string `cbor:"2,keyasint,omitempty"` // measurand identifier, or statement identifier, or "patient-sex" etc.
	Title     string `cbor:"3,keyasint,omitempty"` // in words
	Reason    string `cbor:"4,keyasint,omitempty"` // "not measured", "no value", "unit not understood", ...
}

// Hypothesis is a likely cause: a single slip which, undone, makes the failed
// relation hold.
type Hypothesis struct {
	Identifier string `json:"identifier" cbor:"1,keyasint,omitempty"` // e.g. "unit-factor-10"
	Text       string `json:"text" cbor:"2,keyasint,omitempty"`       // arithmetic in words
	Measurand  string `json:"measurand,omitempty" cbor:"3,keyasint,omitempty"`
}

// Obtain says where and how a missing item is got.
type Obtain struct {
	Window string `cbor:"1,keyasint,omitempty"` // scanning window: parasternal, apical, subcostal, suprasternal, right parasternal, none
	View   string `cbor:"2,keyasint,omitempty"`
	How    string `cbor:"3,keyasint,omitempty"`
}

// About is what a rule says of itself, the same for every study it is put to.
// All results of one rule share one.
type About struct {
	Identifier string   `cbor:"1,keyasint,omitempty"`
	Version    string   `cbor:"2,keyasint,omitempty"`
	Title      string   `cbor:"3,keyasint,omitempty"`
	Kind       Kind     `cbor:"4,keyasint,omitempty"`
	Structure  string   `cbor:"5,keyasint,omitempty"` // folder of the rule: tricuspid-valve, right-ventricle, ...
	Usage      string   `cbor:"6,keyasint,omitempty"` // what to do
	Source     string   `cbor:"7,keyasint,omitempty"` // short citation
	Measurands []string `cbor:"8,keyasint,omitempty"`
	Obtain     *Obtain  `cbor:"9,keyasint,omitempty"`
	Severity   Severity `cbor:"10,keyasint,omitempty"` // unless something in the study makes it another
	Between    bool     `cbor:"11,keyasint,omitempty"` // compares with an earlier study, so that no slip of this one was looked for
	PerLab     bool     `cbor:"12,keyasint,omitempty"` // a matter of how the lab reports: counted in its audit, on no sheet
	OpenPerLab bool     `cbor:"13,keyasint,omitempty"` // that it cannot be told is one
}

// Result is the outcome of one rule on one study.
type Result struct {
	*About `cbor:"-"` // never nil once linked

	Rule     string       `cbor:"1,keyasint,omitempty"`
	Outcome  Outcome      `cbor:"2,keyasint,omitempty"`
	Severity Severity     `cbor:"3,keyasint,omitempty"`
	Message  string       `cbor:"4,keyasint,omitempty"` // for fail and review: both numbers and the arithmetic; for open: what is missing
	Missing  []Missing    `cbor:"5,keyasint,omitempty"`
	Evidence []Evidence   `cbor:"6,keyasint,omitempty"`
	Variant  string       `cbor:"7,keyasint,omitempty"` // which form of the formula fitted, when there are several
	Causes   []Hypothesis `cbor:"8,keyasint,omitempty"`
	Suspect  string       `cbor:"9,keyasint,omitempty"`
}
