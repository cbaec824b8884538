package fhir

import (
	"crypto/sha256"
	"fmt"
	"strings"

	"echotally/internal/layout"
)

// uuid derives an identifier from what a resource is about (RFC 9562 section 5.8).
func uuid(parts ...string) string {
	sum := sha256.Sum256([]byte("echotally fhir\x00" + strings.Join(parts, "\x00")))
	sum[6], sum[8] = sum[6]&0x0F|0x80, sum[8]&0x3F|0x80
	return fmt.Sprintf("%x-%x-%x-%x-%x", sum[0:4], sum[4:6], sum[6:8], sum[8:10], sum[10:16])
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
