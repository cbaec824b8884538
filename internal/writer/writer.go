// Package writer owns the formats in which a reader sees studies: text, json,
// ndjson, csv, html. One file per format; every format says that it is a
// quality-audit aid, not a diagnosis.
//
// There are two documents. The measurement list ([Measurements]) is what the
// reports hold; the gap sheet ([GapSheet]) is what the rules found in it. Both are
// written study by study. For people (text, html) both are built from one sheet,
// for machines (json, ndjson, csv) from one record type each, whose fields are a
// contract: the schema files say what they mean, and they may grow but never
// change.
//
// The package judges nothing and computes nothing but words and layout. Patient
// identity is written only into a gap sheet for people, and only when asked for.
package writer

import "embed"

// SchemaVersion is the version of the machine contracts. The second number is
// raised when a field is added; the first would mean a broken promise.
const SchemaVersion = "2.1"

// Schemas holds the JSON Schema file of each machine contract.
//
//go:embed schema/*.json
var Schemas embed.FS

// Options say what a gap sheet shows.
type Options struct {
	Identify bool // patient name, id and accession number, in text and html only
	All      bool // an appendix with every check, also the passed ones
	Brief    bool // a line for each study and no sheets, in text only
}
