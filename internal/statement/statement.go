// Package statement owns what a record states without a number: it loads the
// phrase files and finds statements in codes and in report text, with negation
// and the words relied on.
//
// Text is read sentence by sentence. A phrase that a negation may or may not
// reach, or that is only asked or suspected, is not taken at all: a statement
// missed leaves a rule open, a statement wrongly read makes it lie.
package statement

import (
	"echotally/internal/coding"
)

// Definition is one statement that exists.
type Definition struct {
	Identifier string
	Title      string
	Group      string // statements of one group exclude each other
	Opposite   string // the statement this one denies: "no TR" is the opposite of "TR"; both directions hold
	Lasting    bool   // also holds when it stands in the history section
	Whole      bool   // speaks of the whole wall: not taken from an item about a segment
	Codings    []coding.Key
	Answers    []Answer
}

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
	opposites   map[string]string
	words       lexicon
	examples    []example
}

// Find returns the definition, nil when unknown.
func (c *Catalogue) Find(identifier string) *Definition { return c.byID[identifier] }

// ByCode returns the definitions a code makes.
func (c *Catalogue) ByCode(code coding.Key) []*Definition { return c.byCode[code] }

// ByAnswer returns the definitions that a concept name with this value makes.
func (c *Catalogue) ByAnswer(name, value coding.Key) []*Definition {
	return c.byAnswer[Answer{Name: name, Value: value}]
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
