// Package sr owns the DICOM structured report: the document with its header
// facts and the tree of content items (PS3.3 C.17, C.18).
//
// Reading is tolerant: a departure from the standard that does not disturb the
// tree is recorded as a [Deviation] with its place and read on. Nothing here
// knows about echocardiography.
package sr

import (
	"strconv"

	"echotally/internal/coding"
	"echotally/internal/dcm"
)

// ItemIdentifier is the position path of a content item: the root is 1, its
// second child 1.2, as in Referenced Content Item Identifier (0040,DB73).
type ItemIdentifier []uint32

// String returns the path with dots: "1.6.2.3".
func (id ItemIdentifier) String() string {
	text := make([]byte, 0, 64)
	for i, n := range id {
		if i > 0 {
			text = append(text, '.')
		}
		text = strconv.AppendUint(text, uint64(n), 10)
	}
	return string(text)
}

// Child returns the identifier of the n-th (1-based) child.
func (id ItemIdentifier) Child(n int) ItemIdentifier {
	return append(append(make(ItemIdentifier, 0, len(id)+1), id...), uint32(n))
}

// Document is one structured report or key object selection.
type Document struct {
	SOPClassUID, SOPInstanceUID, SeriesInstanceUID, StudyInstanceUID string

	Modality                                       string // (0008,0060)
	Manufacturer, ManufacturerModelName            string
	SoftwareVersions, StationName                  string
	StudyDate, StudyTime, ContentDate, ContentTime string                // as written
	StudyDescription                               string                // (0008,1030)
	ProcedureCodes                                 []coding.CodedConcept // (0008,1032)

	CompletionFlag, VerificationFlag, PreliminaryFlag string // (0040,A491) (0040,A493) (0040,A496)
	TemplateIdentifier, MappingResource               string // (0040,DB00) (0008,0105) of the root
	PredecessorDocuments, IdenticalDocuments          []InstanceReference

	Patient     Patient
	Authors     []Observer  // Author Observer, else Verifying Observer Sequence: the default observers
	ContentItem ContentItem // the root CONTAINER

	// Names of the people at work: (0008,1070), (0008,1060), (0040,A075). They
	// are for the point of care only, like the patient's.
	Operators, ReadingPhysicians, Verifiers []string

	Numbers    int     // of NUM items
	Codes      []*Code // the codes of the tree by their numbers, of which 1 is the first; see [ContentItem]
	Deviations []Deviation
	Losses     []dcm.Loss // what a damaged file lost, and what of the tree is not read
}

// Patient holds the header's patient and patient study attributes as written.
// Names and identifiers are for the point of care only and never leave through
// String or a log.
type Patient struct {
	Name, ID, BirthDate string // identity
	IssuerOfID          string // identity
	Sex                 string // M, F, O or ""
	Age                 string // AS, e.g. 067Y
	Size, Weight        string // DS, m and kg
	AccessionNumber     string // identity
	Anonymous           bool   // Patient Identity Removed (0012,0062): what is left may be made up
}

// String masks everything.
func (Patient) String() string { return "patient (masked)" }

// GoString masks everything.
func (Patient) GoString() string { return "patient (masked)" }

// InstanceReference points at another SOP instance.
type InstanceReference struct {
	SOPClassUID, SOPInstanceUID, StudyInstanceUID, SeriesInstanceUID string
	Frames                                                           []int
}

// RelationshipType and ValueType carry the defined terms of PS3.3 C.17.3.
type (
	RelationshipType string
	ValueType        string
)

// Relationship types (PS3.3 Table C.17.3-8) and value types (Table C.17.3-7).
const (
	Contains       RelationshipType = "CONTAINS"
	HasObsContext  RelationshipType = "HAS OBS CONTEXT"
	HasAcqContext  RelationshipType = "HAS ACQ CONTEXT"
	HasConceptMod  RelationshipType = "HAS CONCEPT MOD"
	HasProperties  RelationshipType = "HAS PROPERTIES"
	InferredFrom   RelationshipType = "INFERRED FROM"
	SelectedFrom   RelationshipType = "SELECTED FROM"
	ContainerValue ValueType        = "CONTAINER"
	TextValue      ValueType        = "TEXT"
	CodeValue      ValueType        = "CODE"
	NumValue       ValueType        = "NUM"
	DateTimeValue  ValueType        = "DATETIME"
	DateValue      ValueType        = "DATE"
	TimeValue      ValueType        = "TIME"
	UIDRefValue    ValueType        = "UIDREF"
	PNameValue     ValueType        = "PNAME"
	ImageValue     ValueType        = "IMAGE"
	WaveformValue  ValueType        = "WAVEFORM"
	CompositeValue ValueType        = "COMPOSITE"
	SCoordValue    ValueType        = "SCOORD"
	SCoord3DValue  ValueType        = "SCOORD3D"
	TCoordValue    ValueType        = "TCOORD"
)

// ContentItem is one node of the tree.
type ContentItem struct {
	Identifier       ItemIdentifier
	RelationshipType RelationshipType     // "" at the root
	ValueType        ValueType            // "" for a by-reference item
	ConceptName      *coding.CodedConcept // of no code when there is none; not to be written to, as items share it
	Name, Code       coding.Key           // of ConceptName and of ConceptCode, canonical

	// Which of the codes of the document these are, from 1 on; 0 for none. Items of
	// one number have the same code, written in the same way.
	NameNumber, CodeNumber uint32

	MeasuredValue *MeasuredValue       // NUM
	ConceptCode   *coding.CodedConcept // CODE; not to be written to, as items share it
	Text          string               // TEXT, DATE, TIME, DATETIME, UIDREF, PNAME as written
	*Particulars                       // not to be written to, as items without any share it

	ContentItems []ContentItem
	context      *Context // what the content items state of it; nil for nothing
}

// Particulars are what few items have.
type Particulars struct {
	References  []InstanceReference // IMAGE, WAVEFORM, COMPOSITE
	GraphicType string              // SCOORD, SCOORD3D, TCOORD (temporal range type)
	GraphicData []float64

	Reference  ItemIdentifier // by-reference item: Referenced Content Item Identifier; nil otherwise
	Referenced *ContentItem   // resolved target, nil when dangling or part of a cycle

	ObservationDateTime string // (0040,A032) as written
	TemplateIdentifier  string // (0040,DB00) when the container states one
}

// What an item has that states no name, and nothing particular.
var (
	noConcept     coding.CodedConcept
	noParticulars Particulars
)

// MeasuredValue is what a NUM item states. A NUM may hold no value (Measured
// Value Sequence is type 2): then NumericValue is empty and the qualifier may
// say why (CID 42).
type MeasuredValue struct {
	NumericValue  string   // (0040,A30A) DS as written, first value, untrimmed of digits
	ExtraValues   []string // further values, against PS3.3 C.18.1
	FloatingPoint *float64 // (0040,A161)
	Numerator     *int64   // (0040,A162)
	Denominator   *uint64  // (0040,A163)
	Units         coding.CodedConcept
	UnitsNumber   uint32               // as [ContentItem.NameNumber]
	Qualifier     *coding.CodedConcept // (0040,A301)
}

// Deviation is a tolerated departure from PS3.3 or PS3.16.
type Deviation struct {
	Item   string `json:"item"`   // position path, "" for the header
	Clause string `json:"clause"` // e.g. "PS3.3 C.17.3"
	Detail string `json:"detail"`
}
