package extract

import (
	"sync"

	"echotally/internal/coding"
	"echotally/internal/sr"
)

// memory is what the catalogues and the tables of this package say of the codes and short
// texts of the reports read before: the same ones come again and again, so each is looked
// up once per catalogue and not once per report. It is for one report at a time.
type memory struct {
	of       Catalogues
	concepts map[*sr.Code]*concept
	nothing  *concept // of no code
	texts    map[heading][]found
	numbered []*concept // room for those of a document
}

// heading is a text under its name.
type heading struct{ text, name string }

// Bounds of what is kept. A lab has some hundred codes.
const (
	mostConcepts = 8192
	mostTexts    = 1024
	longestText  = 64 // bytes of a text and its name
)

var memories = sync.Pool{New: func() any { return &memory{} }}

// remember returns what is known with these catalogues.
func remember(c Catalogues) *memory {
	known := memories.Get().(*memory)
	if known.concepts == nil || known.of != c {
		*known = memory{of: c, concepts: map[*sr.Code]*concept{}, texts: map[heading][]found{}}
		known.nothing = known.lookUp(&sr.Code{})
	}
	return known
}

// concept looks up a code.
func (k *memory) concept(code *sr.Code) *concept {
	if c := k.concepts[code]; c != nil {
		return c
	}
	if len(k.concepts) >= mostConcepts {
		clear(k.concepts)
	}
	c := k.lookUp(code)
	k.concepts[code] = c
	return c
}

// told keeps what a text says.
func (k *memory) told(text, name string, says []found) {
	if len(text)+len(name) > longestText {
		return
	}
	if len(k.texts) >= mostTexts {
		clear(k.texts)
	}
	k.texts[heading{text, name}] = says
}

// concept is that of the number in the document.
func (x *extractor) concept(number uint32, c *coding.CodedConcept, key coding.Key) *concept {
	switch {
	case number > 0:
		return x.concepts[number-1]
	case c == nil || c.IsZero():
		return x.known.nothing
	}
	return x.known.lookUp(&sr.Code{Concept: *c, Key: key}) // of no report that was parsed
}
