package coding

// Key returns the canonical identity of the concept.
func (c CodedConcept) Key() Key {
	return Key{c.CodeValue, c.CodingSchemeDesignator} // STUB: owner of coding completes
}

// Standard returns the concept with a legacy SNOMED identifier replaced by its
// SCT number (srt_to_sct table); other concepts come back unchanged. The
// meaning stays as written in the file unless it was empty.
func (c CodedConcept) Standard() CodedConcept {
	return c // STUB
}
