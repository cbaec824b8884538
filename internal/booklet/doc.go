// Package booklet owns how tables, charts and the words before them are written
// as one set of files that agrees with itself: a page, a print, a workbook, JSON,
// and a CSV file per table with a dictionary of all columns.
//
// It computes nothing and knows no study; what a document says is the concern of
// who fills it. Documents of another shape (the lab's audit) are put together of
// its parts: [Document] for print, [Card] and [words.Words] for pages, [Workbook].
package booklet

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
