// Package echo owns the vocabulary of an echo study: study, subject,
// equipment, document, measurement, statement, source. It says nothing of how
// these were read nor of what is checked.
package echo

import (
	"time"

	"echotally/internal/coding"
	"echotally/internal/ucum"
)

// Study is all that was read of one study (same Study Instance UID).
type Study struct {
	StudyInstanceUID string        `cbor:"1,keyasint,omitempty"`
	StudyDate        string        `cbor:"2,keyasint,omitempty"` // DA as written
	Identity         Identity      `cbor:"-"`
	Subject          Subject       `cbor:"3,keyasint,omitempty"`
	Documents        []Document    `cbor:"4,keyasint,omitempty"`
	Measurements     []Measurement `cbor:"5,keyasint,omitempty"` // document order within documents, documents by content time
	Statements       []Statement   `cbor:"6,keyasint,omitempty"`
	Segments         []Segment     `cbor:"7,keyasint,omitempty"`
	Images           []Image       `cbor:"8,keyasint,omitempty"` // by time; empty when none was given, which says nothing of whether any was taken
	Prior            *Prior        `cbor:"9,keyasint,omitempty"` // nil when no earlier study of the person is at hand

	Contradictions []Contradiction `cbor:"10,keyasint,omitempty"` // of what is said of person and time
	Worded         []Worded        `cbor:"11,keyasint,omitempty"` // values said in sentences
}

// Worded is a value that a sentence of the report says, from low to high.
type Worded struct {
	Measurand string        `cbor:"1,keyasint,omitempty"`
	Low       ucum.Quantity `cbor:"2,keyasint,omitempty"`
	High      ucum.Quantity `cbor:"3,keyasint,omitempty"`
	Source    Source        `cbor:"4,keyasint,omitempty"`
}

// Protected is a text that identifies a person. It prints, marshals and logs
// masked; only [Protected.Reveal] gives the text, and only the gap sheet asks.
type Protected string

// String masks.
func (Protected) String() string { return "(withheld)" }

// GoString masks.
func (Protected) GoString() string { return "(withheld)" }

// MarshalText masks.
func (Protected) MarshalText() ([]byte, error) { return []byte("(withheld)"), nil }

// Reveal returns the text.
func (p Protected) Reveal() string { return string(p) }

// Identity is who the study is of. It is not part of any lab-level output.
type Identity struct {
	PatientName       Protected `cbor:"-"`
	PatientID         Protected `cbor:"-"`
	AccessionNumber   Protected `cbor:"-"`
	BirthDate         Protected `cbor:"-"`
	IssuerOfPatientID Protected `cbor:"-"` // whose number the ID is
}

// Subject is the person as far as limits depend on it.
type Subject struct {
	PatientSex    string         `cbor:"1,keyasint,omitempty"` // M, F, O, "" unknown
	AgeYears      *float64       `cbor:"2,keyasint,omitempty"`
	PatientSize   *ucum.Quantity `cbor:"3,keyasint,omitempty"` // header, m
	PatientWeight *ucum.Quantity `cbor:"4,keyasint,omitempty"` // header, kg
}

// Document is one report object of the study.
type Document struct {
	SOPInstanceUID     string              `cbor:"1,keyasint,omitempty"`
	SOPClassUID        string              `cbor:"2,keyasint,omitempty"`
	SeriesInstanceUID  string              `cbor:"3,keyasint,omitempty"`
	TemplateIdentifier string              `cbor:"4,keyasint,omitempty"`
	CompletionFlag     string              `cbor:"5,keyasint,omitempty"`
	VerificationFlag   string              `cbor:"6,keyasint,omitempty"`
	ContentTime        string              `cbor:"7,keyasint,omitempty"` // DA+TM as written
	Equipment          Equipment           `cbor:"8,keyasint,omitempty"`
	SupersededBy       string              `cbor:"9,keyasint,omitempty"`  // SOP Instance UID, "" when current
	SupersededReason   string              `cbor:"10,keyasint,omitempty"` // why, in words
	Partial            bool                `cbor:"11,keyasint,omitempty"`
	Deviations         []Deviation         `cbor:"12,keyasint,omitempty"`
	Observers          []string            `cbor:"13,keyasint,omitempty"` // roles or device names, never person names
	Title              coding.CodedConcept `cbor:"14,keyasint,omitempty"`
	Preliminary        bool                `cbor:"15,keyasint,omitempty"` // the report says of itself that it is not the last
	Predecessors       []string            `cbor:"16,keyasint,omitempty"` // SOP Instance UIDs of the reports it replaces
	Staff              []Person            `cbor:"17,keyasint,omitempty"`
	Wordless           bool                `cbor:"18,keyasint,omitempty"` // holds no sentence about the study
	Replaced           []string            `cbor:"19,keyasint,omitempty"` // of a superseded report: identifiers of what it stated, which counts for nothing but a comparison of readers
}

// Person is somebody at work on the study. The name is as protected as the
// patient's.
type Person struct {
	Name      Protected `cbor:"-"`
	Pseudonym string    `cbor:"1,keyasint,omitempty"` // given by the ledger, "" before
	Task      Task      `cbor:"2,keyasint,omitempty"`
}

// Task says what a person did, as far as the report tells.
type Task string

// Tasks of a person.
const (
	Scanned  Task = "scanned"  // operator, or observer with a sonographer's role
	ReadIt   Task = "read"     // reading physician, or observer with a physician's role
	Verified Task = "verified" // verifying observer
	Observed Task = "observed" // observer without a role that tells
)

// Deviation is a departure from the standard met while reading.
type Deviation struct {
	Item   string `cbor:"1,keyasint,omitempty"`
	Clause string `cbor:"2,keyasint,omitempty"`
	Detail string `cbor:"3,keyasint,omitempty"`
}

// Equipment is the device that made an object.
type Equipment struct {
	Manufacturer          string `cbor:"1,keyasint,omitempty"`
	ManufacturerModelName string `cbor:"2,keyasint,omitempty"`
	SoftwareVersions      string `cbor:"3,keyasint,omitempty"`
	StationName           string `cbor:"4,keyasint,omitempty"`
}

// Source points at the content item a fact was read from: our file and line.
type Source struct {
	SOPInstanceUID string `json:"sopInstanceUID" cbor:"1,keyasint,omitempty"`
	Item           string `json:"item" cbor:"2,keyasint,omitempty"` // position path "1.6.2.3"
}

// Level names where an effective modifier was found.
type Level string

// Levels, nearest first.
const (
	ItemLevel     Level = "item"
	GroupLevel    Level = "group"
	SectionLevel  Level = "section"
	DocumentLevel Level = "document"
	ImageLevel    Level = "image" // only a view: that of the image the report refers to
)

// Modifier is an effective modifier and the level it came from.
type Modifier struct {
	Concept coding.CodedConcept `cbor:"1,keyasint,omitempty"` // legacy ids mapped to SCT
	Written coding.CodedConcept `cbor:"2,keyasint,omitempty"` // as in the file
	Level   Level               `cbor:"3,keyasint,omitempty"`
}

// Modifiers are the effective modifiers of a measurement, inherited nearest
// first, field by field; nil means absent at every level.
type Modifiers struct {
	FindingSite            *Modifier `cbor:"1,keyasint,omitempty"`  // 363698007 SCT
	TopographicalModifier  *Modifier `cbor:"2,keyasint,omitempty"`  // 106233006 SCT
	Laterality             *Modifier `cbor:"3,keyasint,omitempty"`  // 272741003 SCT
	ImageMode              *Modifier `cbor:"4,keyasint,omitempty"`  // 399264008 SCT
	ImageView              *Modifier `cbor:"5,keyasint,omitempty"`  // 111031 DCM
	FlowDirection          *Modifier `cbor:"6,keyasint,omitempty"`  // 260674002 SCT
	MeasurementMethod      *Modifier `cbor:"7,keyasint,omitempty"`  // 370129005 SCT
	CardiacCyclePoint      *Modifier `cbor:"8,keyasint,omitempty"`  // 272518008 SCT
	RespiratoryCyclePoint  *Modifier `cbor:"9,keyasint,omitempty"`  // 272517003 SCT
	Derivation             *Modifier `cbor:"10,keyasint,omitempty"` // 121401 DCM
	SelectionStatus        *Modifier `cbor:"11,keyasint,omitempty"` // 121404 DCM
	MeasurementDivisor     *Modifier `cbor:"12,keyasint,omitempty"` // 125308 DCM
	MeasuredProperty       *Modifier `cbor:"13,keyasint,omitempty"` // 125307 DCM
	MeasurementType        *Modifier `cbor:"14,keyasint,omitempty"` // 125306 DCM
	FindingObservationType *Modifier `cbor:"15,keyasint,omitempty"` // 125305 DCM
	Stage                  *Modifier `cbor:"16,keyasint,omitempty"` // 18139-6 LN
}

// Measurement is one NUM item with all that gives it meaning.
type Measurement struct {
	Measurand   string              `cbor:"1,keyasint,omitempty"` // measurand identifier, "" when no coding matched
	ConceptName coding.CodedConcept `cbor:"2,keyasint,omitempty"`
	Modifiers   Modifiers           `cbor:"3,keyasint,omitempty"`
	Other       []Coded             `cbor:"4,keyasint,omitempty"` // further coded children: name and value, for site codings and statements

	ValueText string               `cbor:"5,keyasint,omitempty"` // as written, "" when the item holds no value
	Unit      coding.CodedConcept  `cbor:"6,keyasint,omitempty"` // as written
	Qualifier *coding.CodedConcept `cbor:"7,keyasint,omitempty"` // Numeric Value Qualifier, CID 42
	Quantity  *ucum.Quantity       `cbor:"8,keyasint,omitempty"` // value and unit understood; nil when there is no value or the unit is not understood
	Canonical *ucum.Quantity       `cbor:"9,keyasint,omitempty"` // Quantity in the measurand's unit; nil when no measurand, no value or wrong dimension

	// ReferenceAuthority is what the item says of where its statistics come from:
	// Reference Authority (121406 DCM), Population Description (121405 DCM) and,
	// of a statistic itself, the citation of its equation or table (CID 228).
	ReferenceAuthority string `cbor:"10,keyasint,omitempty"`

	ShortLabel          string    `cbor:"11,keyasint,omitempty"` // 125309 DCM
	EquivalentMeaning   string    `cbor:"12,keyasint,omitempty"` // 121050 DCM
	ObservationDateTime time.Time `cbor:"13,keyasint,omitempty"`

	Role        Role             `cbor:"14,keyasint,omitempty"`
	Parent      *Source          `cbor:"15,keyasint,omitempty"` // the NUM this one is nested under, nil at top
	DuplicateOf *Source          `cbor:"16,keyasint,omitempty"` // the earlier exact duplicate, nil otherwise
	TrackingUID string           `cbor:"17,keyasint,omitempty"` // 112040 DCM, "" when none
	Group       string           `cbor:"18,keyasint,omitempty"` // position path of the nearest container
	Section     string           `cbor:"19,keyasint,omitempty"` // code meaning of the section's finding site or title, for reading
	SectionSite *Modifier        `cbor:"20,keyasint,omitempty"` // finding site the containers around it state, nearest first; nil when none does
	AdHoc       bool             `cbor:"21,keyasint,omitempty"` // one-off caliper of TID 5303: its name is only the property measured
	Fetus       bool             `cbor:"22,keyasint,omitempty"` // the observation subject is a fetus (TID 1008), not the patient
	Equipment   Equipment        `cbor:"23,keyasint,omitempty"`
	Superseded  bool             `cbor:"24,keyasint,omitempty"`
	Images      []ImageReference `cbor:"25,keyasint,omitempty"`
	Link        *Link            `cbor:"26,keyasint,omitempty"` // the image it was taken on, as far as it is given and can be told
	Problems    []Problem        `cbor:"27,keyasint,omitempty"`
	Source      Source           `cbor:"28,keyasint,omitempty"`
}

// Coded is a coded child of a NUM: concept name and concept code.
type Coded struct {
	Name  coding.CodedConcept `cbor:"1,keyasint,omitempty"`
	Value coding.CodedConcept `cbor:"2,keyasint,omitempty"`
}

// ImageReference points at the image a measurement was taken on.
type ImageReference struct {
	SOPInstanceUID string    `cbor:"1,keyasint,omitempty"`
	Frames         []int     `cbor:"2,keyasint,omitempty"`
	GraphicType    string    `cbor:"3,keyasint,omitempty"` // of the coordinates, "" for a whole image
	GraphicData    []float64 `cbor:"4,keyasint,omitempty"`
}

// Role says what a NUM item is for. Only Result items are findings.
type Role string

// Roles of NUM items.
const (
	Result       Role = "result"
	Input        Role = "input"        // INFERRED FROM child: an input to its parent
	Limit        Role = "limit"        // normal range bound (TID 312)
	Statistic    Role = "statistic"    // z-score, percentile, population mean (TID 311), uncertainty (DCID 225)
	NestedResult Role = "nestedResult" // nested under another NUM without one of the above meanings
	SegmentScore Role = "segmentScore" // scores how a segment of the left ventricular wall moves
	Grade        Role = "grade"        // how severe a finding is, as a number; the statement says it
	Earlier      Role = "earlier"      // quoted from an earlier study (CID 7001 Previous Findings)
)

// Problem is something wrong with the item as such.
type Problem struct {
	Kind   ProblemKind `cbor:"1,keyasint,omitempty"`
	Detail string      `cbor:"2,keyasint,omitempty"`
}

// ProblemKind classifies problems of a measurement.
type ProblemKind string

// Problems of a measurement.
const (
	NoValue               ProblemKind = "noValue"               // empty; the qualifier may say why
	UnitNotUnderstood     ProblemKind = "unitNotUnderstood"     // no UCUM unit and no known spelling
	UnitAlias             ProblemKind = "unitAlias"             // a known wrong spelling was read
	UnitWrongDimension    ProblemKind = "unitWrongDimension"    // the unit cannot be the measurand's
	ValueNotNumber        ProblemKind = "valueNotNumber"        // the DS text is no number
	SeveralValues         ProblemKind = "severalValues"         // more than one value in one item
	RepresentationsDiffer ProblemKind = "representationsDiffer" // DS and FD or rational disagree
	ValueSpelling         ProblemKind = "valueSpelling"         // a number was read, but not as PS3.5 writes a DS
)

// Statement is something the record states without a number: rhythm, "no TR
// jet", sample at the leaflet tips. It comes from a code or from report text.
type Statement struct {
	Identifier  string    `cbor:"1,keyasint,omitempty"` // statement identifier from rules/phrases
	Negated     bool      `cbor:"2,keyasint,omitempty"`
	Quote       string    `cbor:"3,keyasint,omitempty"` // the words or code relied on
	FromCode    bool      `cbor:"4,keyasint,omitempty"`
	Source      Source    `cbor:"5,keyasint,omitempty"`
	Measurement *Source   `cbor:"6,keyasint,omitempty"` // the NUM it hangs under, nil when about the study
	ImageView   *Modifier `cbor:"7,keyasint,omitempty"` // view it was seen in: inherited, or named in the same sentence
	Group       string    `cbor:"8,keyasint,omitempty"` // position path of the nearest container
}
