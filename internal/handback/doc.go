// Package handback owns the DICOM objects in which what was found of a study goes back
// to the systems its objects came from: a Key Object Selection that points at the
// objects concerned, the gap sheet as an Encapsulated PDF, and the findings as a Basic
// Text SR. None of them is made unless asked for, since an object in the archive becomes
// part of the record; none says that anything is rejected, since archives hide what is.
//
// Patient and study are copied from the objects of the study, never made up. Every object
// names the program as its maker, is unverified, and carries the caution. Findings are of
// the record, so their codes are of a scheme of our own, [Scheme]: as the standard's
// (121071, DCM, "Finding") they would be read as findings of the patient.
//
// UIDs are derived: a series from the study, the kind of object and its maker; an
// instance from all that it says but the moment of writing. The same study judged again
// to the same result gives the same objects, so that an archive that has them keeps one
// of each, and another result another one beside it.
//
// It judges nothing; it is given a judgement and makes data sets. Package dimse sends them
// over the DICOM network, dicomweb posts them to a web service.
package handback
