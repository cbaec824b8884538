// Package coding owns the coded concept: the triplet of code value, coding
// scheme designator and code meaning by which DICOM names everything
// (PS3.3 Section 8, PS3.16).
//
// Two concepts are the same when their [Key] is equal. The key is canonical:
// retired SNOMED identifiers (SRT, SNM3, 99SDM) become SCT
// numbers, designator spellings are settled, and codes that changed between
// editions of PS3.16 become the current one. The concept as it stood in the
// file is never altered.
//
// The package knows nothing of echocardiography.
package coding

import "strings"

// CodedConcept is one code as it stands in a file. The zero value means
// "absent".
type CodedConcept struct {
	CodeValue              string `json:"codeValue" cbor:"1,keyasint,omitempty"`
	CodingSchemeDesignator string `json:"codingSchemeDesignator" cbor:"2,keyasint,omitempty"`
	CodingSchemeVersion    string `json:"codingSchemeVersion,omitempty" cbor:"3,keyasint,omitempty"`
	CodeMeaning            string `json:"codeMeaning" cbor:"4,keyasint,omitempty"`
}

// Key identifies a concept. It is comparable and serves as map key; the code
// meaning is not identity (PS3.3 Section 8.3).
type Key struct {
	CodeValue              string
	CodingSchemeDesignator string
}

// IsZero reports whether the concept is absent.
func (c CodedConcept) IsZero() bool { return c.CodeValue == "" && c.CodeMeaning == "" }

// String returns "(value, scheme, meaning)" as DICOM texts print codes.
func (c CodedConcept) String() string {
	return "(" + c.CodeValue + ", " + c.CodingSchemeDesignator + ", \"" + c.CodeMeaning + "\")"
}

// Words is the meaning with the code behind it, for people.
func (c CodedConcept) Words() string {
	if c.CodeMeaning == "" {
		return c.CodingSchemeDesignator + ":" + c.CodeValue
	}
	return c.CodeMeaning + " (" + c.CodingSchemeDesignator + ":" + c.CodeValue + ")"
}

// String returns "scheme:value".
func (k Key) String() string { return k.CodingSchemeDesignator + ":" + k.CodeValue }

// ParseKey reads "scheme:value", the form used in measurand and phrase files,
// and returns the canonical key. It reports false when the colon or a part is
// missing.
func ParseKey(text string) (Key, bool) {
	scheme, value, ok := strings.Cut(strings.TrimSpace(text), ":")
	if !ok || scheme == "" || value == "" {
		return Key{}, false
	}
	return CodedConcept{CodeValue: value, CodingSchemeDesignator: scheme}.Key(), true
}
