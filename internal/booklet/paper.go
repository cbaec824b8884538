package booklet

import "fmt"

// Paper is what a document is printed on.
type Paper string

// Kinds of paper.
const (
	A4     Paper = "A4"
	Letter Paper = "Letter"
)

// Papers lists the kinds of paper.
func Papers() []Paper { return []Paper{A4, Letter} }

// ParsePaper reads the name of a kind of paper.
func ParsePaper(name string) (Paper, error) {
	for _, p := range Papers() {
		if name == string(p) {
			return p, nil
		}
	}
	return "", fmt.Errorf("unknown paper %q: A4 or Letter", name)
}

// Lengths in mm.
const (
	pageMargin = 14.0
	footRoom   = 18.0 // what is left below the content
)

// size is the width and height in mm.
func (p Paper) size() (width, height float64) {
	if p == Letter {
		return 215.9, 279.4
	}
	return 210, 297
}
