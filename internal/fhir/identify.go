package fhir

import (
	"echotally/internal/identifier"
	"echotally/internal/layout"
)

// uuid derives an identifier from what a resource is about.
func uuid(parts ...string) string {
	return identifier.Derive(append([]string{"echotally fhir"}, parts...)...).UUID()
}

// entry puts a resource into a bundle.
func entry(id string, resource any) Entry {
	return Entry{FullURL: "urn:uuid:" + id, Resource: resource}
}

func to(id string) *Reference { return &Reference{Reference: "urn:uuid:" + id} }

// cautioned marks a resource with the caution, which has to stay with it wherever it goes.
func cautioned() *Meta {
	return &Meta{Tag: []Coding{{System: "urn:echotally:tag", Code: "quality-audit", Display: layout.Caution}}}
}
