// Package resource owns the resources of FHIR R4 (4.0.1) that are written here: their
// fields, identifiers, code systems, and the populations of a measure.
package resource

import (
	"encoding/json"
	"strings"

	"echotally/internal/identifier"
	"echotally/internal/layout"
)

// The resources and data types of FHIR R4 (4.0.1) that are written, with the elements
// that are used. Names are those of the standard.

// Bundle is a set of resources.
type Bundle struct {
	ResourceType string  `json:"resourceType"`
	ID           string  `json:"id"`
	Meta         *Meta   `json:"meta,omitempty"`
	Type         string  `json:"type"`
	Timestamp    string  `json:"timestamp,omitempty"`
	Total        *int    `json:"total,omitempty"`
	Link         []Link  `json:"link,omitempty"`
	Entry        []Entry `json:"entry,omitempty"`
}

// Link is an address that has to do with a bundle.
type Link struct {
	Relation string `json:"relation"`
	URL      string `json:"url"`
}

// Entry is a resource in a bundle.
type Entry struct {
	FullURL  string  `json:"fullUrl,omitempty"`
	Resource any     `json:"resource"`
	Search   *Search `json:"search,omitempty"`
}

// Search says why a resource is in the answer to a search.
type Search struct {
	Mode string `json:"mode"`
}

// Meta is about the resource itself.
type Meta struct {
	Tag []Coding `json:"tag,omitempty"`
}

// Coding is a code of a system.
type Coding struct {
	System  string `json:"system,omitempty"`
	Version string `json:"version,omitempty"`
	Code    string `json:"code,omitempty"`
	Display string `json:"display,omitempty"`
}

// CodeableConcept is a concept in codes and words.
type CodeableConcept struct {
	Coding []Coding `json:"coding,omitempty"`
	Text   string   `json:"text,omitempty"`
}

// Reference points at a resource.
type Reference struct {
	Reference string `json:"reference,omitempty"`
	Display   string `json:"display,omitempty"`
}

// Identifier is what something goes by elsewhere.
type Identifier struct {
	System string `json:"system,omitempty"`
	Value  string `json:"value,omitempty"`
}

// Quantity is a number with a UCUM unit, or with words for one.
type Quantity struct {
	Value  json.Number `json:"value,omitempty"`
	Unit   string      `json:"unit,omitempty"`
	System string      `json:"system,omitempty"`
	Code   string      `json:"code,omitempty"`
}

// Period is a span of days, both ends included.
type Period struct {
	Start string `json:"start"`
	End   string `json:"end"`
}

// Measure defines a share.
type Measure struct {
	ResourceType           string            `json:"resourceType"`
	ID                     string            `json:"id"`
	Meta                   *Meta             `json:"meta,omitempty"`
	URL                    string            `json:"url"`
	Version                string            `json:"version,omitempty"`
	Name                   string            `json:"name,omitempty"`
	Title                  string            `json:"title,omitempty"`
	Status                 string            `json:"status"`
	SubjectCodeableConcept *CodeableConcept  `json:"subjectCodeableConcept,omitempty"`
	Description            string            `json:"description,omitempty"`
	Disclaimer             string            `json:"disclaimer,omitempty"`
	Scoring                *CodeableConcept  `json:"scoring,omitempty"`
	Type                   []CodeableConcept `json:"type,omitempty"`
	ImprovementNotation    *CodeableConcept  `json:"improvementNotation,omitempty"`
	Group                  []MeasureGroup    `json:"group,omitempty"`
}

// MeasureGroup is what a measure counts.
type MeasureGroup struct {
	Population []MeasurePopulation `json:"population"`
}

// MeasurePopulation is one of the counts, in words.
type MeasurePopulation struct {
	Code        *CodeableConcept `json:"code"`
	Description string           `json:"description,omitempty"`
	Criteria    Expression       `json:"criteria"`
}

// Expression says how something is chosen.
type Expression struct {
	Language   string `json:"language"`
	Expression string `json:"expression"`
}

// MeasureReport is a measure counted.
type MeasureReport struct {
	ResourceType        string           `json:"resourceType"`
	ID                  string           `json:"id"`
	Meta                *Meta            `json:"meta,omitempty"`
	Status              string           `json:"status"`
	Type                string           `json:"type"`
	Measure             string           `json:"measure"`
	Subject             *Reference       `json:"subject,omitempty"`
	Date                string           `json:"date,omitempty"`
	Reporter            *Reference       `json:"reporter,omitempty"`
	Period              Period           `json:"period"`
	ImprovementNotation *CodeableConcept `json:"improvementNotation,omitempty"`
	Group               []ReportGroup    `json:"group,omitempty"`
}

// ReportGroup are the counts of a measure.
type ReportGroup struct {
	Population   []ReportPopulation `json:"population"`
	MeasureScore *Quantity          `json:"measureScore,omitempty"`
}

// ReportPopulation is one count.
type ReportPopulation struct {
	Code  *CodeableConcept `json:"code"`
	Count int              `json:"count"`
}

// DetectedIssue is a finding of the record.
type DetectedIssue struct {
	ResourceType       string           `json:"resourceType"`
	ID                 string           `json:"id"`
	Meta               *Meta            `json:"meta,omitempty"`
	Status             string           `json:"status"`
	Code               *CodeableConcept `json:"code,omitempty"`
	Severity           string           `json:"severity,omitempty"`
	Patient            *Reference       `json:"patient,omitempty"`
	IdentifiedDateTime string           `json:"identifiedDateTime,omitempty"`
	Author             *Reference       `json:"author,omitempty"`
	Implicated         []Reference      `json:"implicated,omitempty"`
	Evidence           []Evidence       `json:"evidence,omitempty"`
	Detail             string           `json:"detail,omitempty"`
	Mitigation         []Mitigation     `json:"mitigation,omitempty"`
}

// Evidence is what a finding rests on.
type Evidence struct {
	Detail []Reference `json:"detail"`
}

// Mitigation is what was said to a finding.
type Mitigation struct {
	Action *CodeableConcept `json:"action"`
	Date   string           `json:"date,omitempty"`
}

// Observation is a measurement, or that there is none and why.
type Observation struct {
	ResourceType      string            `json:"resourceType"`
	ID                string            `json:"id"`
	Meta              *Meta             `json:"meta,omitempty"`
	Status            string            `json:"status"`
	Category          []CodeableConcept `json:"category,omitempty"`
	Code              *CodeableConcept  `json:"code"`
	Subject           *Reference        `json:"subject,omitempty"`
	EffectiveDateTime string            `json:"effectiveDateTime,omitempty"`
	ValueQuantity     *Quantity         `json:"valueQuantity,omitempty"`
	DataAbsentReason  *CodeableConcept  `json:"dataAbsentReason,omitempty"`
	BodySite          *CodeableConcept  `json:"bodySite,omitempty"`
	Method            *CodeableConcept  `json:"method,omitempty"`
	Device            *Reference        `json:"device,omitempty"`
	DerivedFrom       []Reference       `json:"derivedFrom,omitempty"`
}

// ImagingStudy is the study by its DICOM UID.
type ImagingStudy struct {
	ResourceType string       `json:"resourceType"`
	ID           string       `json:"id"`
	Meta         *Meta        `json:"meta,omitempty"`
	Identifier   []Identifier `json:"identifier"`
	Status       string       `json:"status"`
	Subject      *Reference   `json:"subject"`
	Started      string       `json:"started,omitempty"`
}

// Patient is somebody of whom no more than the sex is said.
type Patient struct {
	ResourceType string `json:"resourceType"`
	ID           string `json:"id"`
	Meta         *Meta  `json:"meta,omitempty"`
	Gender       string `json:"gender,omitempty"`
}

// Device is what measured, or judged.
type Device struct {
	ResourceType string          `json:"resourceType"`
	ID           string          `json:"id"`
	Meta         *Meta           `json:"meta,omitempty"`
	Manufacturer string          `json:"manufacturer,omitempty"`
	ModelNumber  string          `json:"modelNumber,omitempty"`
	Version      []DeviceVersion `json:"version,omitempty"`
}

// DeviceVersion is the version of the software.
type DeviceVersion struct {
	Value string `json:"value"`
}

// OperationOutcome says why there is no answer.
type OperationOutcome struct {
	ResourceType string  `json:"resourceType"`
	Issue        []Issue `json:"issue"`
}

// Issue is one reason.
type Issue struct {
	Severity    string `json:"severity"`
	Code        string `json:"code"`
	Diagnostics string `json:"diagnostics,omitempty"`
}

// Code systems.
const (
	populations   = "http://terminology.hl7.org/CodeSystem/measure-population"
	Scorings      = "http://terminology.hl7.org/CodeSystem/measure-scoring"
	Kinds         = "http://terminology.hl7.org/CodeSystem/measure-type"
	improvements  = "http://terminology.hl7.org/CodeSystem/measure-improvement-notation"
	Absences      = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
	Categories    = "http://terminology.hl7.org/CodeSystem/observation-category"
	ResourceTypes = "http://hl7.org/fhir/resource-types"
	Units         = "http://unitsofmeasure.org"
	DICOMUID      = "urn:dicom:uid"

	// Our own, which are names and no addresses.
	RuleSystem      = "urn:echotally:rule"
	MeasurandSystem = "urn:echotally:measurand"
	WaiverSystem    = "urn:echotally:waiver-reason"
	measureRoot     = "urn:echotally:measure:"
)

// Systems are the code systems of DICOM's designators (PS3.16 section 8, table 8-1).
var Systems = map[string]string{
	"LN": "http://loinc.org", "SCT": "http://snomed.info/sct", "DCM": "http://dicom.nema.org/resources/ontology/DCM",
	"UCUM": Units, "MDC": "urn:iso:std:iso:11073:10101",
}

// Concept is a concept of one code.
func Concept(system, code, display string) *CodeableConcept {
	return &CodeableConcept{Coding: []Coding{{System: system, Code: code, Display: display}}}
}

// Words is a text without what FHIR does not let a string begin or end with.
func Words(text string) string { return strings.TrimSpace(text) }

// ID derives an identifier from what a resource is about.
func ID(parts ...string) string {
	return identifier.Derive(append([]string{"echotally fhir"}, parts...)...).UUID()
}

// EntryOf puts a resource into a bundle.
func EntryOf(id string, resource any) Entry {
	return Entry{FullURL: "urn:uuid:" + id, Resource: resource}
}

// To refers to the resource of an identifier in the same bundle.
func To(id string) *Reference { return &Reference{Reference: "urn:uuid:" + id} }

// Cautioned marks a resource with the caution, which has to stay with it wherever it goes.
func Cautioned() *Meta {
	return &Meta{Tag: []Coding{{System: "urn:echotally:tag", Code: "quality-audit", Display: layout.Caution}}}
}
