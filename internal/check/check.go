// Package check puts rules to a study and gives results. It is pure: no files,
// no clock, no log, no network.
package check

import (
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/rule"
)

// Protocols says which protocols hold for the study and why.
type Protocols struct {
	Base      Chosen
	Triggered []Chosen
}

// Chosen is a protocol with its reason.
type Chosen struct {
	Identifier, Title string
	Declared          bool // stated by the record, otherwise inferred
	Reason            string
}

// Study puts every rule of the set to the study. Results come in the order of
// the set (structure, identifier).
func Study(set *rule.Set, s *echo.Study) (Protocols, []finding.Result) { return Protocols{}, nil }
