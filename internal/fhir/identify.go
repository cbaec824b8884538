package fhir

import (
	"echotally/internal/identifier"
	"echotally/internal/layout"
)

// ID derives an identifier from what a resource is about.
func ID(parts ...string) string {
	return identifier.Derive(append([]string{"echotally fhir"}, parts...)...).UUID()
}

// entry puts a resource into a bundle.
func entry(id string, resource any) Entry {
	return Entry{FullURL: "urn:uuid:" + id, Resource: resource}
}

func to(id string) *Reference { return &Reference{Reference: "urn:uuid:" + id} }

// Cautioned marks a resource with the caution, which has to stay with it wherever it goes.
func Cautioned() *Meta {
	return &Meta{Tag: []Coding{{System: "urn:echotally:tag", Code: "quality-audit", Display: layout.Caution}}}
}
