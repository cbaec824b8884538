package catalogue

import (
	"fmt"
	"regexp"
)

var identifierShape = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*/[a-z0-9]+(-[a-z0-9]+)*$`)

// Skeleton gives the text of a new draft rule to be filled in. What is between angle
// brackets must be: [rule.Source.Unwritten] tells of what still is.
func Skeleton(identifier string) (string, error) {
	if !identifierShape.MatchString(identifier) {
		return "", fmt.Errorf("identifier %q is not structure/name in lower case with hyphens", identifier)
	}
	return fmt.Sprintf(`identifier: %s
version: "0.1.0"
title: "<What must hold, in one sentence>"
status: draft
kind: completeness            # completeness, consistency, acquisition, form
severity: warning             # error, warning, note
purpose: >-
  <Why, in two or three sentences a sonographer can read aloud.>
usage: >-
  <What to do when it fails.>
knownLimits: >-
  <When it is wrong to complain.>
sources:
  - common practice
measurands:
  tr: tricuspid-regurgitation-peak-velocity
require: "present(tr)"
message: "<What is wrong, with the numbers in braces.>"
examples:
  - {title: measured, given: {tr: 2.5 m/s}, outcome: pass}
  - {title: not measured, outcome: fail}
`, identifier), nil
}
