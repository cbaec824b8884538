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
	StudyInstanceUID string
	StudyDate        string // DA as written
	Identity         Identity
	Subject          Subject
	Documents        []Document
	Measurements     []Measurement // document order within documents, documents by content time
	Statements       []Statement
	Segments         []Segment
	Images           []Image // by time; empty when none was given, which says nothing of whether any was taken
	Prior            *Prior  // nil when no earlier study of the person is at hand
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
	PatientName, PatientID, AccessionNumber, BirthDate Protected
	IssuerOfPatientID                                  Protected // whose number the ID is
}

// Subject is the person as far as limits depend on it.
type Subject struct {
	PatientSex    string // M, F, O, "" unknown
	AgeYears      *float64
	PatientSize   *ucum.Quantity // header, m
	PatientWeight *ucum.Quantity // header, kg
}

// Document is one report object of the study.
type Document struct {
	SOPInstanceUID, SOPClassUID, SeriesInstanceUID string
	TemplateIdentifier                             string
	CompletionFlag, VerificationFlag               string
	ContentTime                                    string // DA+TM as written
	Equipment                                      Equipment
	SupersededBy                                   string // SOP Instance UID, "" when current
	SupersededReason                               string // why, in words
	Partial                                        bool
	Deviations                                     []Deviation
	Observers                                      []string // roles or device names, never person names
	Title                                          coding.CodedConcept
	Preliminary                                    bool     // the report says of itself that it is not the last
	Predecessors                                   []string // SOP Instance UIDs of the reports it replaces
	Staff                                          []Person
}

// Person is somebody at work on the study. The name is as protected as the
// patient's.
type Person struct {
	Name      Protected
	Pseudonym string // given by the ledger, "" before
	Task      Task
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
	Item, Clause, Detail string
}

// Equipment is the device that made an object.
type Equipment struct {
	Manufacturer, ManufacturerModelName, SoftwareVersions, StationName string
}

// Source points at the content item a fact was read from: our file and line.
type Source struct {
	SOPInstanceUID string `json:"sopInstanceUID"`
	Item           string `json:"item"` // position path "1.6.2.3"
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
	Concept coding.CodedConcept // legacy ids mapped to SCT
	Written coding.CodedConcept // as in the file
	Level   Level
}

// Modifiers are the effective modifiers of a measurement, inherited nearest
// first, field by field; nil means absent at every level.
type Modifiers struct {
	FindingSite            *Modifier // 363698007 SCT
	TopographicalModifier  *Modifier // 106233006 SCT
	Laterality             *Modifier // 272741003 SCT
	ImageMode              *Modifier // 399264008 SCT
	ImageView              *Modifier // 111031 DCM
	FlowDirection          *Modifier // 260674002 SCT
	MeasurementMethod      *Modifier // 370129005 SCT
	CardiacCyclePoint      *Modifier // 272518008 SCT
	RespiratoryCyclePoint  *Modifier // 272517003 SCT
	Derivation             *Modifier // 121401 DCM
	SelectionStatus        *Modifier // 121404 DCM
	MeasurementDivisor     *Modifier // 125308 DCM
	MeasuredProperty       *Modifier // 125307 DCM
	MeasurementType        *Modifier // 125306 DCM
	FindingObservationType *Modifier // 125305 DCM
	Stage                  *Modifier // 18139-6 LN
}

// Measurement is one NUM item with all that gives it meaning.
type Measurement struct {
	Measurand   string // measurand identifier, "" when no coding matched
	ConceptName coding.CodedConcept
	Modifiers   Modifiers
	Other       []Coded // further coded children: name and value, for site codings and statements

	ValueText string               // as written, "" when the item holds no value
	Unit      coding.CodedConcept  // as written
	Qualifier *coding.CodedConcept // Numeric Value Qualifier, CID 42
	Quantity  *ucum.Quantity       // value and unit understood; nil when there is no value or the unit is not understood
	Canonical *ucum.Quantity       // Quantity in the measurand's unit; nil when no measurand, no value or wrong dimension

	// ReferenceAuthority is what the item says of where its statistics come from:
	// Reference Authority (121406 DCM), Population Description (121405 DCM) and,
	// of a statistic itself, the citation of its equation or table (CID 228).
	ReferenceAuthority string

	ShortLabel          string // 125309 DCM
	EquivalentMeaning   string // 121050 DCM
	ObservationDateTime time.Time

	Role        Role
	Parent      *Source   // the NUM this one is nested under, nil at top
	DuplicateOf *Source   // the earlier exact duplicate, nil otherwise
	TrackingUID string    // 112040 DCM, "" when none
	Group       string    // position path of the nearest container
	Section     string    // code meaning of the section's finding site or title, for reading
	SectionSite *Modifier // finding site the containers around it state, nearest first; nil when none does
	AdHoc       bool      // one-off caliper of TID 5303: its name is only the property measured
	Fetus       bool      // the observation subject is a fetus (TID 1008), not the patient
	Equipment   Equipment
	Superseded  bool
	Images      []ImageReference
	Link        *Link // the image it was taken on, as far as it is given and can be told
	Problems    []Problem
	Source      Source
}

// Coded is a coded child of a NUM: concept name and concept code.
type Coded struct {
	Name, Value coding.CodedConcept
}

// ImageReference points at the image a measurement was taken on.
type ImageReference struct {
	SOPInstanceUID string
	Frames         []int
	GraphicType    string // of the coordinates, "" for a whole image
	GraphicData    []float64
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
	Earlier      Role = "earlier"      // quoted from an earlier study (CID 7001 Previous Findings)
)

// Problem is something wrong with the item as such.
type Problem struct {
	Kind   ProblemKind
	Detail string
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
	Identifier  string // statement identifier from rules/phrases
	Negated     bool
	Quote       string // the words or code relied on
	FromCode    bool
	Source      Source
	Measurement *Source   // the NUM it hangs under, nil when about the study
	ImageView   *Modifier // view it was seen in: inherited, or named in the same sentence
	Group       string    // position path of the nearest container
}
