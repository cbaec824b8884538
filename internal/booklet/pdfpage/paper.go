package pdfpage

// Paper is what a document is printed on.
type Paper string

// Kinds of paper.
const (
	A4     Paper = "A4"
	Letter Paper = "Letter"
)

// Papers lists the kinds of paper.
func Papers() []Paper { return []Paper{A4, Letter} }

// Size is the width and height in mm.
func (p Paper) Size() (width, height float64) {
	if p == Letter {
		return 215.9, 279.4
	}
	return 210, 297
}
