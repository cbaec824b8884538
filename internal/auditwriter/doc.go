// Package auditwriter owns the formats of what is written about a lab: a set of
// page, print, workbook, JSON and CSV files for the audit and for booklets of
// tables, text or a page for one person's own figures.
//
// It computes nothing but words and layout, and knows no study.
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
