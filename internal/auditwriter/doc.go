// Package auditwriter owns what a lab's audit says, file by file, and the sheet
// with one person's own figures.
//
// It computes nothing but words, and knows no study; how tables and charts are
// written is owned by booklet.
package auditwriter

import "embed"

// SchemaVersion is the version of the JSON contract. The second number is raised
// when a field is added; the first would mean a broken promise.
const SchemaVersion = "1.1"

//go:embed templates
var templates embed.FS

// Schemas holds the JSON Schema file of the contract.
//
//go:embed schema/*.json
var Schemas embed.FS
