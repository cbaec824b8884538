// Package audit owns the order of the work: intake, reading, extraction,
// checking, and the record of it. It is the only package that knows the order.
package audit

import (
	"context"

	"echotally/internal/check"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/rule"
)

// Object is one input file and what became of it.
type Object struct {
	Path           string
	SHA256         string
	SOPInstanceUID string
	SOPClassUID    string
	State          string // read, partial, refused, ignored
	Reason         string
	Hint           string
}

// Study is one audited study.
type Study struct {
	Study     *echo.Study
	Objects   []Object
	Protocols check.Protocols
	Results   []finding.Result
}

// Audit is the whole run.
type Audit struct {
	SoftwareVersion string
	RuleSet         string // version and digest
	Studies         []Study
	Unread          []Object // refused, ignored, or without a study
}

// Run reads and checks everything below the paths.
func Run(ctx context.Context, paths []string, set *rule.Set) (*Audit, error) { return nil, nil }
