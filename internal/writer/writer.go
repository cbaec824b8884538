// Package writer owns the formats in which a reader sees an audit: text, json,
// ndjson, csv, html. One file per format; every format says that it is a
// quality-audit aid, not a diagnosis.
//
// There are two documents. The measurement list ([Measurements]) is what the
// reports hold; the gap sheet ([GapSheet]) is what the rules made of it. For
// people (text, html) both are built from one sheet, for machines (json,
// ndjson, csv) from one record type each, whose fields are a contract: the
// schema files say what they mean, and they may grow but never change.
//
// The package computes nothing but words and layout. Patient identity is
// written only into a gap sheet for people, and only when asked for.
package writer

import (
	"embed"
	"fmt"
	"io"
	"strings"

	"echotally/internal/run"
)

// Caution is printed on every output.
const Caution = "Quality-audit aid, not a diagnosis. The qualified reader, the lab's own protocol and local rules decide."

// SchemaVersion is the version of the machine contracts. The second number is
// raised when a field is added; the first would mean a broken promise.
const SchemaVersion = "1.0"

// Schemas holds the JSON Schema file of each machine contract.
//
//go:embed schema/*.json
var Schemas embed.FS

// Format is an output format.
type Format string

// Formats.
const (
	Text   Format = "text"
	JSON   Format = "json"
	NDJSON Format = "ndjson"
	CSV    Format = "csv"
	HTML   Format = "html"
)

// Formats lists the formats in the order they are told.
func Formats() []Format { return []Format{Text, JSON, NDJSON, CSV, HTML} }

// ParseFormat reads a format's name.
func ParseFormat(name string) (Format, error) {
	var names []string
	for _, f := range Formats() {
		if name == string(f) {
			return f, nil
		}
		names = append(names, string(f))
	}
	return "", fmt.Errorf("unknown format %q: one of %s", name, strings.Join(names, ", "))
}

// Options say what a gap sheet shows.
type Options struct {
	Identify bool // patient name, id and accession number, in text and html only
	All      bool // an appendix with every check, also the passed ones
}

// Measurements writes what the reports hold.
func Measurements(w io.Writer, f Format, a *run.Audit) error {
	switch f {
	case JSON:
		return measurementsJSON(w, a)
	case NDJSON:
		return measurementsNDJSON(w, a)
	case CSV:
		return measurementsCSV(w, a)
	case HTML:
		return measurementsHTML(w, a)
	}
	return measurementsText(w, a)
}

// GapSheet writes what the rules made of the studies.
func GapSheet(w io.Writer, f Format, a *run.Audit, opt Options) error {
	switch f {
	case JSON:
		return checkJSON(w, a)
	case NDJSON:
		return checkNDJSON(w, a)
	case CSV:
		return checkCSV(w, a)
	case HTML:
		return gapSheetHTML(w, a, opt)
	}
	return gapSheetText(w, a, opt)
}
