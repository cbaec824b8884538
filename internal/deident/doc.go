// Package deident owns de-identified copies of structured reports: Basic
// Application Level Confidentiality Profile of DICOM PS3.15 Annex E with the
// options Clean Structured Content, Clean Descriptors, Retain Longitudinal Temporal
// Information with Modified Dates and Retain Patient Characteristics. What may stay
// is listed, all else goes, so that an attribute nobody thought of is not kept. A
// copy is read again before it is given out.
package deident
