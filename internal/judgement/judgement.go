// Package judgement owns the judgement: all that one rule library found of one
// state of a study, as a plain value. It is made once and kept whole; whatever
// shows, counts or compares it reads it and judges nothing again.
//
// Every kept field has a number, which is never given to another one. Evidence
// is kept as references; the pointers beside them are filled by whoever has the
// study at hand ([Judgement.Link]).
package judgement

import (
	"echotally/internal/echo"
	"echotally/internal/finding"
)

// Judgement is what was found of a study.
type Judgement struct {
	StudyInstanceUID string            `cbor:"1,keyasint,omitempty"`
	ContentDigest    string            `cbor:"2,keyasint,omitempty"` // SHA-256 of the study as it is kept, hex; "" while it is not kept
	Library          Library           `cbor:"3,keyasint,omitempty"`
	SoftwareVersion  string            `cbor:"4,keyasint,omitempty"`
	Read             Read              `cbor:"5,keyasint,omitempty"`
	Protocols        finding.Protocols `cbor:"6,keyasint,omitempty"`

	Results       []finding.Result `cbor:"7,keyasint,omitempty"` // of the rules that apply, by identifier
	NotApplicable []Aside          `cbor:"8,keyasint,omitempty"` // of the others, by identifier

	Several        []finding.Several       `cbor:"9,keyasint,omitempty"`  // by measurand
	Acquisition    *finding.Acquired       `cbor:"10,keyasint,omitempty"` // nil when no image of the study was given
	Reconciliation *finding.Reconciliation `cbor:"11,keyasint,omitempty"` // nil when nothing in the study is redundant
}

// Library identifies the rules that judged.
type Library struct {
	Version string `cbor:"1,keyasint,omitempty"`
	Digest  string `cbor:"2,keyasint,omitempty"` // SHA-256 over all files and the lab's choices, hex
	Edition string `cbor:"3,keyasint,omitempty"` // of the guidelines, where limits differ
	Rules   int    `cbor:"4,keyasint,omitempty"`
}

// Read counts what was read of the study.
type Read struct {
	Objects      []Object `cbor:"1,keyasint,omitempty"` // in the order they came; empty when the caller keeps them elsewhere
	Documents    int      `cbor:"2,keyasint,omitempty"`
	Superseded   int      `cbor:"3,keyasint,omitempty"` // of the documents, by a later one
	Measurements int      `cbor:"4,keyasint,omitempty"`
	Unnamed      int      `cbor:"5,keyasint,omitempty"` // of the measurements, without a measurand
	Statements   int      `cbor:"6,keyasint,omitempty"`
	Segments     int      `cbor:"7,keyasint,omitempty"`
	Images       int      `cbor:"8,keyasint,omitempty"` // of which the header was read
}

// Object is one file of the study and what became of it. Its path is not part
// of it: paths may name the patient.
type Object struct {
	SOPInstanceUID string `cbor:"1,keyasint,omitempty"`
	SOPClassUID    string `cbor:"2,keyasint,omitempty"`
	SHA256         string `cbor:"3,keyasint,omitempty"` // hex
	State          string `cbor:"4,keyasint,omitempty"` // read, partial, refused or ignored
	Reason         string `cbor:"5,keyasint,omitempty"`
}

// Aside is a rule that does not apply to the study, and why.
type Aside struct {
	*finding.About `cbor:"-"` // never nil once linked

	Rule   string `cbor:"1,keyasint,omitempty"`
	Reason string `cbor:"2,keyasint,omitempty"`
}

// Count counts what was read of a study.
func Count(s *echo.Study) Read {
	out := Read{Documents: len(s.Documents), Measurements: len(s.Measurements), Statements: len(s.Statements), Segments: len(s.Segments), Images: len(s.Images)}
	for i := range s.Documents {
		if s.Documents[i].SupersededBy != "" {
			out.Superseded++
		}
	}
	for i := range s.Measurements {
		if s.Measurements[i].Measurand == "" {
			out.Unnamed++
		}
	}
	return out
}

// All are the results of all rules by identifier, those that do not apply with
// the reason as their message.
func (j *Judgement) All() []finding.Result {
	out := make([]finding.Result, 0, len(j.Results)+len(j.NotApplicable))
	applied := j.Results
	for _, a := range j.NotApplicable {
		for len(applied) > 0 && applied[0].Rule < a.Rule {
			out, applied = append(out, applied[0]), applied[1:]
		}
		res := finding.Result{About: a.About, Rule: a.Rule, Outcome: finding.NotApplicable, Message: a.Reason}
		if a.About != nil {
			res.Severity = a.Severity
		}
		out = append(out, res)
	}
	return append(out, applied...)
}
