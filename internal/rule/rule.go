// Package rule owns the rule file and the rule set: strict decoding, linting
// (all faults, not the first), compiling, site overlays, digests. It evaluates
// nothing.
package rule

import (
	"io/fs"

	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/measurand"
	"echotally/internal/statement"
	"echotally/internal/term"
)

// Set is everything loaded from the rule folders.
type Set struct {
	Version    string
	Digest     string // SHA-256 over all files, hex
	Rules      []*Rule
	Protocols  []*Protocol
	Measurands *measurand.Catalogue
	Statements *statement.Catalogue
	Terms      *term.Catalogue
}

// Rule is one rule, compiled.
type Rule struct {
	File     File // as decoded
	Require  *expr.Program
	Kind     finding.Kind
	Severity finding.Severity
	Digest   string
	Site     bool // from a site folder
}

// File is the rule file as written.
type File struct {
	Identifier string `yaml:"identifier"`
}

// Protocol is a kind of study.
type Protocol struct {
	Identifier, Title string
	Base              bool
}

// Settings are the lab's choices.
type Settings struct {
	Drafts bool // run draft rules as well
}

// Load reads the shipped rules and then the site folders; the error joins all
// faults (errors.Join of *datafile.Error).
func Load(settings Settings, layers ...fs.FS) (*Set, error) { return nil, nil }
