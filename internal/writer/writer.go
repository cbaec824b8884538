// Package writer owns the formats: text, json, ndjson, csv, html. One file per
// format; every format says that it is a quality-audit aid, not a diagnosis.
package writer

// Caution is printed on every output.
const Caution = "Quality-audit aid, not a diagnosis. The qualified reader, the lab's own protocol and local rules decide."
