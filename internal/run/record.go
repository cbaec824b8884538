// Package run owns the nouns of a run over files, and the reading of one object
// and one study.
//
// The nouns. An [Object] is one input file and what became of it. A [Note] is
// what the first pass keeps of it. A [Worklist] is the studies that are to be
// read, in their order, and every object that belongs to none. A [Study] is
// everything that was read of one Study Instance UID. A [Run] is what was done by
// what, a [Tally] what became of it.
//
// It promises that every file found is in the record once, with a state and,
// unless it was read, a reason; that one bad file never stops the others; and
// that memory is needed for the studies in hand only, besides some hundred bytes
// per file. It puts no rule to anything, and knows no order of work.
package run

import (
	"strings"
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

// WithoutPath is the reason without the path of another object that it may name.
func (o *Object) WithoutPath() string {
	if o.Other == "" {
		return o.Reason
	}
	return strings.ReplaceAll(o.Reason, o.Other, "another file")
}

// Study is one study as it was read.
type Study struct {
	StudyInstanceUID string
	Number           int                    // among the studies of the run, from 1 on; 0 when it is of none
	Study            *echo.Study            // nil when no report of the study was read
	Reports          map[string]*echo.Study // what each report gave, by path of the object; see [Compose]
	ImageHeaders     map[string]*echo.Image // by path of the object
	Objects          []Object               // by path
	Judgement        *judgement.Judgement   // nil before rules were put to the study
	Failed           string                 // why it could not be read or judged to the end, a fault of the program; "" when it was
}

// Unnamed reports whether the study has measurements and none of them a code that is
// known: then no rule could be put to any.
func (s *Study) Unnamed() bool {
	if s.Study == nil || len(s.Study.Measurements) == 0 {
		return false
	}
	for i := range s.Study.Measurements {
		if s.Study.Measurements[i].Measurand != "" {
			return false
		}
	}
	return true
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

// Run says what was done by what, and what of it belongs to no study. The
// studies come one after another and are not kept.
type Run struct {
	Created         time.Time
	SoftwareVersion string
	RuleSet         judgement.Library
	Rules           func() []*finding.About // what each rule says of itself, by identifier; nil when none is put to the studies
	Measurands      *measurand.Catalogue
	Windows         []string // names of the scanning windows, in the order in which a study is scanned
	Studies         int      // how many there are
	Unread          []Object // by path: refused or ignored, and of no study that is known
}

// Tally counts what became of a run.
type Tally struct {
	Objects       map[State]int
	Studies       int
	WithoutReport int              // of the studies
	Unnamed       int              // of the studies: none of their measurements has a code that is known
	Failed        int              // of the studies, by a fault of the program
	Worst         finding.Severity // the gravest among the results that need somebody to act: failed, or to be looked at; "" for none
}

// Count counts objects.
func (t *Tally) Count(objects []Object) {
	if t.Objects == nil {
		t.Objects = map[State]int{}
	}
	for _, o := range objects {
		t.Objects[o.State]++
	}
}

// Add counts a study with its objects and results.
func (t *Tally) Add(s *Study) {
	t.Count(s.Objects)
	t.Studies++
	switch {
	case s.Failed != "":
		t.Failed++
	case s.Study == nil:
		t.WithoutReport++
	case s.Unnamed():
		t.Unnamed++
	}
	if s.Judgement == nil {
		return
	}
	for i := range s.Judgement.Results {
		r := &s.Judgement.Results[i]
		if (r.Outcome == finding.Fail || r.Outcome == finding.Review) && r.Severity.Rank() > t.Worst.Rank() {
			t.Worst = r.Severity
		}
	}
}

// Merge adds another tally.
func (t *Tally) Merge(other Tally) {
	if t.Objects == nil {
		t.Objects = map[State]int{}
	}
	for state, n := range other.Objects {
		t.Objects[state] += n
	}
	t.Studies += other.Studies
	t.WithoutReport += other.WithoutReport
	t.Unnamed += other.Unnamed
	t.Failed += other.Failed
	if other.Worst.Rank() > t.Worst.Rank() {
		t.Worst = other.Worst
	}
}

// Incomplete reports whether something that may hold a report was not read, or
// only in part, a study had no report, no measurement of a known code, or could not be judged, or there was no
// study at all: then the absence of findings means nothing.
func (t *Tally) Incomplete() bool {
	return t.Studies == 0 || t.WithoutReport+t.Unnamed+t.Failed+t.Objects[Refused]+t.Objects[Partial] > 0
}
