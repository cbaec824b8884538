// Package run owns the order of the work: intake, reading, extraction,
// checking, and the record of it. It is the only package that knows the order.
//
// The nouns. An [Object] is one input file and what became of it. A [Study] is
// everything that was read of one Study Instance UID, with the results of the
// rules put to it. An [Audit] is the whole run.
//
// It promises that every file found is in the record once, with a state and,
// unless it was read, a reason; that one bad file never stops the others; and
// that the record does not depend on the order in which workers finished. It
// judges nothing itself.
package run

import (
	"time"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/judgement"
	"echotally/internal/measurand"
)

// State says what became of a file.
type State string

// States of an object.
const (
	Read    State = "read"    // everything in it was read
	Partial State = "partial" // damaged, read in part; the reason says what is lost
	Refused State = "refused" // may hold a report, but nothing of it is used
	Ignored State = "ignored" // not a report, or a copy of one
)

// Object is one input file and what became of it.
type Object struct {
	Path             string
	SHA256           string
	SOPInstanceUID   string
	SOPClassUID      string
	StudyInstanceUID string
	State            State
	Reason           string
	Hint             string
	Image            bool   // an image, of which only the header was read
	Other            string // path of the object the reason names, "" when it names none
}

// Study is one audited study.
type Study struct {
	StudyInstanceUID string
	Study            *echo.Study            // nil when no report of the study was read
	Reports          map[string]*echo.Study // what each report gave, by path of the object; see [Compose]
	ImageHeaders     map[string]*echo.Image // by path of the object
	Objects          []Object               // by path
	Judgement        *judgement.Judgement   // nil before rules were put to the study; what follows is of it
	Protocols        finding.Protocols
	Results          []finding.Result        // in the order of the rule set
	Reconciliation   *finding.Reconciliation // nil when nothing in the study is redundant
	Several          []finding.Several       // by measurand
	Acquisition      *finding.Acquired       // nil when no image of the study was given
}

// Images counts the image objects of the study.
func (s *Study) Images() int {
	n := 0
	for _, o := range s.Objects {
		if o.Image {
			n++
		}
	}
	return n
}

// Audit is the whole run.
type Audit struct {
	Created         time.Time
	SoftwareVersion string
	RuleSet         RuleSet
	Checked         bool // rules were put to the studies, not only read
	Measurands      *measurand.Catalogue
	Studies         []Study  // by study date, then UID
	Unread          []Object // by path: refused or ignored, and of no study that is known
}

// RuleSet identifies the rules that were in force.
type RuleSet struct {
	Version string
	Digest  string // SHA-256 over all rule files, hex
	Rules   int
	Edition string // of the guidelines, where limits differ
}

// Worst returns the gravest severity among the results that need somebody to
// act: failed, or to be looked at. "" when there is none.
func (a *Audit) Worst() finding.Severity {
	var worst finding.Severity
	for _, s := range a.Studies {
		for _, r := range s.Results {
			if (r.Outcome == finding.Fail || r.Outcome == finding.Review) && r.Severity.Rank() > worst.Rank() {
				worst = r.Severity
			}
		}
	}
	return worst
}

// Incomplete reports whether something that may hold a report was not read, or
// only in part, a study had no report, or there was no study at all: then the
// absence of findings means nothing.
func (a *Audit) Incomplete() bool {
	damaged := func(objects []Object) bool {
		for _, o := range objects {
			if o.State == Refused || o.State == Partial {
				return true
			}
		}
		return false
	}
	for _, s := range a.Studies {
		if s.Study == nil || damaged(s.Objects) {
			return true
		}
	}
	return len(a.Studies) == 0 || damaged(a.Unread)
}

// Counts counts the objects of the whole run by state.
func (a *Audit) Counts() map[State]int {
	counts := map[State]int{}
	count := func(objects []Object) {
		for _, o := range objects {
			counts[o.State]++
		}
	}
	for _, s := range a.Studies {
		count(s.Objects)
	}
	count(a.Unread)
	return counts
}
