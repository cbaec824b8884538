// Package rules carries the data files that ship with the program: terms,
// measurands, phrases, protocols and rules.
package rules

import "embed"

// FS holds the shipped data files, and the page that explains them.
//
//go:embed README.md *.yaml */*.yaml
var FS embed.FS
