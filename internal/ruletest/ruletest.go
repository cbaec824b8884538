// Package ruletest is test support: it loads the shipped rules, runs the
// examples written in them and tells which limits these do not show.
package ruletest

import (
	"testing"

	"echotally/internal/datafile"
	"echotally/internal/example"
	"echotally/internal/library"

	"echotally/rules"
)

// Load lints the shipped rules, drafts included, and compiles them all, or fails
// the test with every fault.
func Load(t testing.TB) *library.Library {
	t.Helper()
	set, err := library.Load(library.Settings{Drafts: true}, datafile.Unlinted(rules.FS))
	if err != nil {
		t.Fatalf("the shipped rules have faults:\n%v", err)
	}
	return set
}

// Examples runs the examples of every rule as sub-tests named by rule and
// title.
func Examples(t *testing.T, set *library.Library) {
	for _, r := range set.Rules {
		t.Run(r.File.Identifier, func(t *testing.T) {
			for _, ex := range example.Run(set, r) {
				if ex.Fault != "" {
					t.Errorf("example %q: %s", ex.Title, ex.Fault)
				}
			}
		})
	}
}
