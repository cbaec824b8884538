// Package statement owns what a record states without a number: it loads the
// phrase files and finds statements in codes and in report text, with negation
// and the words relied on.
package statement

import (
	"io/fs"

	"echotally/internal/coding"
	"echotally/internal/term"
)

// Definition is one statement that exists.
type Definition struct {
	Identifier string
	Title      string
	Group      string // statements of one group exclude each other
	Codings    []coding.Key
}

// Catalogue is the loaded set.
type Catalogue struct {
	Definitions []*Definition // sorted by identifier
	byID        map[string]*Definition
}

// Load reads phrases/*.yaml from each file system in turn.
func Load(terms *term.Catalogue, layers ...fs.FS) (*Catalogue, error) { return &Catalogue{}, nil }

// Find returns the definition, nil when unknown.
func (c *Catalogue) Find(identifier string) *Definition { return c.byID[identifier] }

// ByCode returns the definitions a code makes.
func (c *Catalogue) ByCode(code coding.Key) []*Definition { return nil }

// Match is a statement found in a text.
type Match struct {
	Identifier string
	Negated    bool
	Quote      string // the sentence
	ImageView  string // term name of a view named in the same sentence, "" when none
}

// InText finds statements in a report text, sentence by sentence, in order.
func (c *Catalogue) InText(text string) []Match { return nil }
