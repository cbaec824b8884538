// Package statement owns what a record states without a number: it loads the
// phrase files and finds statements in codes and in report text, with negation
// and the words relied on.
//
// Text is read sentence by sentence. A phrase that a negation may or may not
// reach, or that is only asked or suspected, is not taken at all: a statement
// missed leaves a rule open, a statement wrongly read makes it lie.
package statement

import (
	"slices"

	"echotally/internal/coding"
)

// Definition is one statement that exists.
type Definition struct {
	Identifier string
	Title      string
	Group      string  // statements of one group exclude each other
	Opposite   string  // the statement this one denies: "no TR" is the opposite of "TR"; both directions hold
	Lasting    bool    // also holds when it stands in the history section
	Whole      bool    // speaks of the whole wall: not taken from an item about a segment
	OfStudy    bool    // says what kind of study it is: the only statements taken from the study's description
	Covers     Covers  // what it excuses the absence of
	Widens     float64 // by how much it widens the spread of repeated readings; 1 when it does not
	Harder     Harder  // what it makes harder about a study; "" when nothing
	Quality    int     // its place among the grades of image quality, the best is 1; 0 when it is none
	Done       Done    // how it says the study was done
	Codings    []coding.Key
	Answers    []Answer
	Place      int // among the definitions of its catalogue
}

// Covers says of which measurements a statement explains the absence: those of
// a window or of a structure, or all of the study.
type Covers struct {
	Windows    []string
	Structures []string
	Measurands []string
	Study      bool
}

// Harder is what makes one study harder than another.
type Harder string

// What makes a study harder.
const (
	Arrhythmia  Harder = "arrhythmia"
	PoorWindows Harder = "windows"
)

// Done is how a study was done.
type Done struct {
	As    string // such as transthoracic; "" when the statement does not tell
	Place int    // in the order in which the ways are named
}

// Any reports whether anything is covered.
func (c Covers) Any() bool { return c.Study || len(c.Windows)+len(c.Structures)+len(c.Measurands) > 0 }

// IndicationRecorded is the statement that whatever stands below a request or an
// indication makes, whatever its words: what was asked, not what was seen.
const IndicationRecorded = "indication-recorded"

// ReasonRecorded is the statement that a comment beside an empty value makes,
// whatever its words.
const ReasonRecorded = "reason-recorded"

// Answer is a coded answer to a coded question: aortic regurgitation, moderate.
type Answer struct {
	Name, Value coding.Key
}

// Catalogue is the loaded set.
type Catalogue struct {
	Definitions []*Definition // sorted by identifier
	byID        map[string]*Definition
	byCode      map[coding.Key][]*Definition
	byAnswer    map[Answer][]*Definition
	bySite      map[Answer][]*Definition // of a finding and where it is
	opposites   map[string]string
	words       lexicon
	numbers     []reader
	examples    []example
}

// Find returns the definition, nil when unknown.
func (c *Catalogue) Find(identifier string) *Definition { return c.byID[identifier] }

// Qualities lists the grades of image quality, the best first.
func (c *Catalogue) Qualities() []*Definition {
	return c.ordered(func(d *Definition) int { return d.Quality })
}

// Ways lists the statements that say how a study was done, in the order in which
// the ways are named.
func (c *Catalogue) Ways() []*Definition {
	return c.ordered(func(d *Definition) int { return d.Done.Place })
}

// ordered lists the definitions that have a place, by it.
func (c *Catalogue) ordered(place func(*Definition) int) []*Definition {
	out := slices.DeleteFunc(slices.Clone(c.Definitions), func(d *Definition) bool { return place(d) == 0 })
	slices.SortStableFunc(out, func(a, b *Definition) int { return place(a) - place(b) })
	return out
}

// ByCode returns the definitions a code makes.
func (c *Catalogue) ByCode(code coding.Key) []*Definition { return c.byCode[code] }

// ByAnswer returns the definitions that a concept name with this value makes.
func (c *Catalogue) ByAnswer(name, value coding.Key) []*Definition {
	return c.byAnswer[Answer{Name: name, Value: value}]
}

// AtSite returns the definitions a finding at a site makes: regurgitation, of
// the pulmonary valve.
func (c *Catalogue) AtSite(finding, site coding.Key) []*Definition {
	return c.bySite[Answer{Name: finding, Value: site}]
}

// Graded returns the definitions that a statement's codes make with a grade.
func (c *Catalogue) Graded(def *Definition, grade coding.Key) []*Definition {
	var out []*Definition
	for _, code := range def.Codings {
		for _, d := range c.byAnswer[Answer{Name: code, Value: grade}] {
			if !slices.Contains(out, d) {
				out = append(out, d)
			}
		}
	}
	return out
}

// Implied returns the statement that another one settles by being its opposite:
// TR denied states that TR is absent, TR stated denies it.
func (c *Catalogue) Implied(identifier string) (opposite string, ok bool) {
	opposite, ok = c.opposites[identifier]
	return opposite, ok
}

// Match is a statement found in a text.
type Match struct {
	Identifier string
	Negated    bool
	Quote      string // the sentence
	ImageView  string // term name of a view named in the same sentence, "" when none
}
