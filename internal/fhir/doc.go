// Package fhir owns what is handed to systems that speak FHIR R4 (4.0.1): for a period the
// measures of the lab with their counts ([Summary]). Below it, imagingstudy gives for one study
// what was measured, what was found of the record, and which demands it met; service
// answers GET with the measures; resource has the resources that all of them write.
//
// A summary names nobody and no study. Of a study its DICOM UID is given, by which a system
// that has the study knows it; of the patient no more than the sex.
//
// Identifiers are derived from what a resource is about, so that the same comes out under
// the same identifier each time: a system that takes it in again updates and does not
// double. DetectedIssue and Observation are preliminary unless the report that they are
// of was verified: nobody looked at what a rule found.
//
// Populations are those of the standard's measure-population codes, with the study as the
// unit: initial-population are the studies received, denominator the eligible ones,
// denominator-exclusion those of which the measure does not ask or cannot be told,
// denominator-exception those not met with a reason recorded, numerator those met. The
// score is the numerator over the denominator less exclusions and exceptions.
//
// It judges nothing: it is given reports and judgements.
package fhir
