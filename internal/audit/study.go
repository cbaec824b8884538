package audit

import (
	"strings"
	"time"

	"echotally/internal/finding"
	"echotally/internal/stats"
)

// Study is one study reduced to what the audit counts.
type Study struct {
	UID         string
	Date        time.Time // midnight of the study date; zero when no report states it
	Lab, Site   string
	Device      Device
	Setting     string // inpatient, outpatient, "" unknown
	Sonographer string // pseudonym of the ledger, "" unknown
	Trainee     bool   // the sonographer is one by the list of staff
	Reader      string // pseudonym of the ledger, "" unknown
	Case        Case
	Protocol    string // identifier of the base protocol, "" when it was not recognised
	Kind        string // the base protocol in words
	Triggered   []string
	Unread      bool // there is no readable report

	Results *Outcomes // nil when it was not judged
	Waivers []Waiver
	Coding  Coding
	Values  []Value
	Spreads []Spread
	Pairs   []Pair
	Grades  []GradePair

	Correlations    []Correlation
	Appropriateness string   // of the request, "" not judged
	Untold          int      // measurands read several times of which no view tells whether they are beats
	Suspect         []string // measurands that do not fit the others
	Images          int
	Medium          Medium
	Times           Times

	summed *sums // nil before it is asked for
}

// Device is what made the report.
type Device struct {
	Maker    string `cbor:"1,keyasint,omitempty"`
	Model    string `cbor:"2,keyasint,omitempty"`
	Software string `cbor:"3,keyasint,omitempty"`
	Station  string `cbor:"4,keyasint,omitempty"`
}

// Version names model and software.
func (d Device) Version() string { return strings.TrimSpace(d.Model + " " + d.Software) }

// Case is what makes one study harder than another.
type Case struct {
	AgeBand     string  `cbor:"1,keyasint,omitempty"`
	Sex         string  `cbor:"2,keyasint,omitempty"`
	Arrhythmia  bool    `cbor:"3,keyasint,omitempty"` // atrial fibrillation or flutter stated
	PoorWindows bool    `cbor:"4,keyasint,omitempty"` // the record states poor or missing windows
	BodySize    float64 `cbor:"5,keyasint,omitempty"` // body surface area, m2; 0 unknown
	Quality     string  `cbor:"6,keyasint,omitempty"` // of the images, as the record states it; "" when it does not, or states several
}

// Rule is what the audit needs of a rule.
type Rule struct {
	Identifier, Title, Structure string
	Kind                         finding.Kind
	Severity                     finding.Severity
	Conditional                  bool // asked only of studies in which something else was found
	Measurands                   []string
	PerLab                       bool // a matter of how the lab reports
	OpenPerLab                   bool // that it cannot be told is one
}

// Result is the outcome of one rule on the study.
type Result struct {
	Rule     *Rule
	Outcome  finding.Outcome
	Severity finding.Severity
	Cause    string // identifier of the likeliest slip, "" when none was found
}

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

// Coding counts how the measurements of the study were coded.
type Coding struct {
	Measurements int `cbor:"1,keyasint,omitempty"`
	Unnamed      int `cbor:"2,keyasint,omitempty"` // no measurand file names the code
	Views        int `cbor:"3,keyasint,omitempty"` // of those taken on an image: the view is stated
	WantViews    int `cbor:"4,keyasint,omitempty"` // taken on an image
	WrongUnit    int `cbor:"5,keyasint,omitempty"` // unit not understood or of the wrong kind
	NoValue      int `cbor:"6,keyasint,omitempty"` // empty item without a reason
}

// Quantity is a measurand as its values are shown. Studies share one.
type Quantity struct {
	Measurand string
	Title     string
	Unit      string
	Step      float64 // the least step at which it is read, in Unit; 0 when it is computed
}

// Value is a measured value as it was written, for the tests of digits.
type Value struct {
	*Quantity
	X float64
}

// Spread is repeated readings of one measurand in the study.
type Spread struct {
	*Quantity
	Readings []float64
}

// Times are the moments the lab's own systems know.
type Times struct{ Ended, Read, Signed time.Time }

// failing reports whether a rule says that something has to be done.
func (r Result) failing() bool { return r.Outcome == finding.Fail }

// counts reports whether the finding is grave enough to count.
func (r Result) grave() bool { return r.Severity.Rank() >= finding.Warning.Rank() }

// waived returns the waiver of a rule, nil when there is none.
func (s *Study) waived(rule string) *Waiver {
	for i := range s.Waivers {
		if s.Waivers[i].Rule == rule {
			return &s.Waivers[i]
		}
	}
	return nil
}

// standing is what becomes of one demand in the two figures.
type standing int

const (
	notAsked standing = iota
	satisfied
	missing   // in both figures
	excepted  // missing in the strict figure, out of the other
	cannotSay // in neither, told beside them
)

// stands tells how a completeness result counts.
func (s *Study) stands(r Result) standing {
	switch r.Outcome {
	case finding.Pass:
		return satisfied
	case finding.Open, finding.Review:
		return cannotSay
	case finding.Excused:
		return excepted
	case finding.Fail:
		if w := s.waived(r.Rule.Identifier); w != nil && w.Effect != StaysOpen {
			return excepted
		}
		return missing
	}
	return notAsked
}

// tally is a demand counted over studies.
type tally struct{ met, missing, excepted, open int }

func (t *tally) add(s standing) {
	switch s {
	case satisfied:
		t.met++
	case missing:
		t.missing++
	case excepted:
		t.excepted++
	case cannotSay:
		t.open++
	}
}

// strict counts every exception as missing.
func (t tally) strict() stats.Proportion {
	return stats.Proportion{Count: t.met, Total: t.met + t.missing + t.excepted}
}

// lenient leaves the exceptions out of the denominator.
func (t tally) lenient() stats.Proportion {
	return stats.Proportion{Count: t.met, Total: t.met + t.missing}
}
