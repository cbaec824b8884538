package dcm

import (
	"cmp"
	"fmt"
)

// State says how much of a file was read.
type State string

const (
	// Read means everything in the file was read.
	Read State = "read"
	// Partial means a damaged file was read in part; Losses say what is lost.
	Partial State = "partial"
	// Refused means nothing of the file is used; the Refusal says why.
	Refused State = "refused"
)

// Refusal is the error for a file that is refused whole.
type Refusal struct {
	Offset  int64  // byte offset in the file (after inflation for deflated files, then Reason says so)
	TagPath string // e.g. "(0040,A730)[3]/(0040,A300)[1]/(0040,A30A)", "" at the start of the file
	Reason  string // what is wrong, lower case, no patient data
	Hint    string // what the user can do, may be empty
}

func (r *Refusal) Error() string {
	where := fmt.Sprintf("offset %d", r.Offset)
	if r.TagPath != "" {
		where += ", " + r.TagPath
	}
	return r.Reason + " (" + where + ")"
}

// Loss names a part of a file that is not read: of a damaged file, or of a content
// tree that is not as the standard has it. Whoever reads on adds to the same list,
// and an object with a loss in it is partial.
type Loss struct {
	Offset  int64  `json:"offset"` // -1 when it is not told by an offset
	TagPath string `json:"tagPath"`
	Reason  string `json:"reason"`
}

// String says what is lost and where.
func (l Loss) String() string {
	if l.Offset < 0 {
		return l.Reason + " at " + l.TagPath
	}
	return fmt.Sprintf("%s at %s (offset %d)", l.Reason, l.TagPath, l.Offset)
}

// Deviation is a tolerated departure from PS3.5 or PS3.10.
type Deviation struct {
	TagPath string `json:"tagPath"`
	Clause  string `json:"clause"` // e.g. "PS3.5 7.1.1"
	Detail  string `json:"detail"`
}

// File is one DICOM file, read.
type File struct {
	State             State
	TransferSyntaxUID string
	Meta              Dataset // group 0002, empty when the file has no meta header
	Dataset           Dataset
	Losses            []Loss
	Skipped           []Loss // intact values left out on purpose: long ones by ReadHeader, pixel data inside items
	Deviations        []Deviation
	PixelDataOffset   int64 // offset of the element's tag, after inflation; -1 when there is none or it was not reached

	space *space // nil once released
}

// Dataset gives typed, never-panicking access to a list of elements. Text is
// UTF-8 already (Specific Character Set applied, also inside items). It keeps the
// bytes of the file for as long as it lives; what its methods return does not. The
// data sets of one file are for one goroutine at a time.
type Dataset struct {
	Elements []Element
}

// Tag is a DICOM tag.
type Tag struct{ Group, Element uint16 }

// Uint32 returns the tag as one number: 0x0040A730.
func (t Tag) Uint32() uint32 { return uint32(t.Group)<<16 | uint32(t.Element) }

// Compare orders tags as a data set does.
func (t Tag) Compare(other Tag) int { return cmp.Compare(t.Uint32(), other.Uint32()) }

// String writes a tag as the standard does: "(0040,A730)".
func (t Tag) String() string { return fmt.Sprintf("(%04X,%04X)", t.Group, t.Element) }
