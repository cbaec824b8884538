// Package question owns what a rule may ask of a study. Each question is one
// value: its name, what it is asked of, the unit of its answer, whether it can
// be asked where nothing was recorded, where its answer comes from, how it is
// told in words, and what rules/README.md says of it. The list of them all, from
// which whoever reads, checks, answers, tells or documents a question takes it, is
// below, in questionnaire.
//
// What the answers are worked out from is not known here: package answer
// implements [Measured], [Images], [Said] and [Study].
package question

import (
	"strings"

	"echotally/internal/echo"
	"echotally/internal/ucum"
)

// Subject is what a question is asked of.
type Subject uint8

// Subjects.
const (
	WholeStudy    Subject = iota
	AMeasurand            // the values a study holds for an alias
	AStatement            // an alias of statements
	SeveralImages         // an alias of images
)

// Source is where an answer comes from.
type Source uint8

// Sources.
const (
	Report       Source = iota
	ImageOfValue        // the image a value was taken on
	Wall                // what is said of the segments of the left ventricular wall
	EarlierStudy        // of the same person
	AnyValue            // any value of the report, whatever it is of
)

// Guard says when a question has an answer.
type Guard uint8

// Guards.
const (
	NeedsValue Guard = iota // the name must have a value
	Optional                // may be asked where nothing was recorded, but has no answer there
	Always                  // has an answer whatever was recorded
)

// Question is one thing an expression may ask. An answer is 1 or 0 when the
// question is one of truth, otherwise a number, and NaN when it cannot be told.
type Question struct {
	Name          string
	Plain         bool      // a name, not a function: age
	Truth         bool      // true or false
	InUnit        bool      // the answer is in the unit of the measurand
	UnitCode      string    // UCUM, of the answer otherwise; "" for a count
	InCode        ucum.Unit // the unit that UnitCode is
	Detail        string    // an example of what it takes beside the name, "" for nothing
	Guard         Guard
	Tests         bool // whether its name is there: what else an expression asks of the name is guarded by it
	Repeatability bool // only of a measurand with a published repeatability
	AsRecorded    bool // the answer is one of the values, or their mean, with their rounding
	From          Source

	// How it is answered; which of them are there says what it is asked of.
	OfMeasured func(Measured, string) float64
	OfImage    func(*echo.Image, *echo.Region) float64 // of a measurand; no region when it is not known
	OfImages   func(Images) float64
	OfSaid     func(Said) float64
	OfStudy    func(Study, string) float64

	// Words tell the answer: {number}, {value} with its unit, {title} of the
	// name, {detail}; {s} makes a plural unless the number is 1.
	Words       string
	WordsImages string // of images, when they differ
	Unanswered  string // why there is none although there are values
	Gives       string // in rules/README.md
}

// Measured is what a study holds for a measurand alias.
type Measured interface {
	Present() float64
	Count() float64
	Beats() float64
	Views() float64
	Windows() float64
	Noted(modifier string) float64
	BothSigns() float64
	Highest() float64
	Lowest() float64
	Average() float64
	Last() float64
	Spread() float64
	RecordedMean() float64
	Repeatability() float64
	SpreadLimit() float64
	ZScore() float64
	Worded() float64
	WordedLow() float64
	WordedHigh() float64
	SoftwareNamed() float64
	Prior() float64
	PriorPresent() float64
	Linked() float64
	LikelyWindows() float64
	SameView() float64
	SameMode() float64
}

// Images is what a study holds for an alias of images.
type Images interface {
	Present() float64
	Count() float64
	Views() float64
	Windows() float64
}

// Said is what a study says of a statement.
type Said interface {
	Stated() float64
	Mentioned() float64
}

// Study is a study as a whole.
type Study interface {
	Age() float64
	Sex(code string) float64
	CountMeasurands() float64
	CountZScores() float64
	CountReaders() float64
	CountSegments() float64
	CountRegions() float64
	CountScoredSegments() float64
	CountAbnormalSegments() float64
	MeanSegmentScore() float64
	AdjacentUnseenSegments() float64
	PriorDays() float64
}

// AskedOf reports whether a question can be asked of a subject.
func (q *Question) AskedOf(s Subject) bool {
	switch s {
	case AMeasurand:
		return q.OfMeasured != nil || q.OfImage != nil
	case AStatement:
		return q.OfSaid != nil
	case SeveralImages:
		return q.OfImages != nil
	}
	return q.OfStudy != nil
}

// Names is how many names a question takes, with the detail.
func (q *Question) Names() int {
	switch {
	case q.OfStudy != nil:
		return 0
	case q.Detail != "":
		return 2
	}
	return 1
}

// ShownByImage reports whether the answer is what the image shows that a value
// was taken on, and so rests on which image that is.
func (q *Question) ShownByImage() bool { return q.From == ImageOfValue && q.Guard == NeedsValue }

// Unit is the unit of the answer, "1" for a count or what is true or false;
// false when it is that of the measurand.
func (q *Question) Unit() (ucum.Unit, bool) {
	if q.InUnit {
		return ucum.Unit{}, false
	}
	return q.InCode, true
}

// Answer is an answer as it is told.
type Answer struct {
	Number, Value string // bare, and with its unit
	Title         string // of the name
	Detail        string
}

// Tell puts an answer into words.
func (a Answer) Tell(words string) string {
	var b strings.Builder
	for words != "" {
		text, rest, found := strings.Cut(words, "{")
		b.WriteString(text)
		if !found {
			break
		}
		var part string
		part, words, _ = strings.Cut(rest, "}")
		switch part {
		case "number":
			b.WriteString(a.Number)
		case "value":
			b.WriteString(a.Value)
		case "title":
			b.WriteString(a.Title)
		case "detail":
			b.WriteString(a.Detail)
		case "s":
			if a.Number != "1" {
				b.WriteByte('s')
			}
		}
	}
	return b.String()
}
