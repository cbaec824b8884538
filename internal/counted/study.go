// Package counted owns a study as figures count it: reduced to what is counted, with
// what the lab's own systems know of it. It names no patient, and of staff only
// pseudonyms.
package counted

import (
	"iter"
	"strings"
	"time"
	"unique"

	"echotally/internal/casemix"
	"echotally/internal/finding"
	"echotally/internal/tally"
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
	Case        casemix.Case
	Protocol    string // identifier of the base protocol, "" when it was not recognised
	Kind        string // the base protocol in words
	Triggered   []string
	Unread      bool // there is no readable report

	Results *tally.Outcomes // nil when it was not judged
	Waivers []tally.Waiver
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
	Medium          casemix.Medium
	Times           Times

	summed *tally.Sums // nil before it is asked for
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

// Pair is one quantity of the study as two reports give it.
type Pair struct {
	*Quantity
	Compared      Compared
	First, Second float64 // of the earlier and of the later report, the mean of its beats
	Identical     bool    // the same values: read again or copied, which cannot be told
}

// Compared says what two readings have in common.
type Compared string

// What is compared, in the order it is shown.
const (
	TwoObservers  Compared = "two observers"
	OneObserver   Compared = "one observer"
	WhoeverWrote  Compared = "two reports"
	RepeatedBeats Compared = "two beats"
)

// GradePair is how two reports of a study grade one lesion, as steps of the
// ladder of grades.
type GradePair struct {
	Lesion        string // such as tricuspid-regurgitation
	Compared      Compared
	First, Second int
}

// Correlation is one quantity as the echo study and another test give it.
type Correlation struct {
	*Quantity
	Test        string
	Echo, Other float64 // Echo is NaN where the study has no such value
	Days        int     // between them, without sign
}

// Judged puts other results to the study.
func (s *Study) Judged(protocols finding.Protocols, results *tally.Outcomes) {
	s.Protocol, s.Kind = unique.Make(protocols.Base.Identifier).Value(), unique.Make(protocols.Base.Title).Value()
	s.Triggered, s.Results, s.summed = nil, results, nil
	for _, p := range protocols.Triggered {
		s.Triggered = append(s.Triggered, unique.Make(p.Identifier).Value())
	}
}

// Sum takes the results of the study together, waivers considered, for all that
// asks for them later. It is done once, before several goroutines look at the
// study.
func (s *Study) Sum() *tally.Sums {
	if s.summed == nil {
		sum := s.Results.Sum(s.Waivers)
		s.summed = &sum
	}
	return s.summed
}

// Stands tells how a result counts for the study.
func (s *Study) Stands(r tally.Result) tally.Standing { return r.Stands(s.Waivers) }

// Series gives the values as they stand, those of one quantity that follow each other
// together.
func (s *Study) Series() iter.Seq2[*Quantity, []Value] {
	return func(yield func(*Quantity, []Value) bool) {
		for from := 0; from < len(s.Values); {
			of, to := s.Values[from].Quantity, from+1
			for to < len(s.Values) && s.Values[to].Quantity == of {
				to++
			}
			if !yield(of, s.Values[from:to]) {
				return
			}
			from = to
		}
	}
}

// Plus adds the counts of another.
func (c Coding) Plus(d Coding) Coding {
	return Coding{c.Measurements + d.Measurements, c.Unnamed + d.Unnamed, c.Views + d.Views, c.WantViews + d.WantViews, c.WrongUnit + d.WrongUnit, c.NoValue + d.NoValue}
}
