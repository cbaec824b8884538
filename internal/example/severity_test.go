package example

import (
	"fmt"
	"testing"
	"testing/fstest"

	"echotally/internal/finding"
	"echotally/internal/library"
	"echotally/rules"
)

// TestSiteSeverityLeavesShippedExamplesStanding gives every shipped rule every
// severity by a site: the shipped examples were written for the shipped one and
// must not fail for it, while those of a case are still held to what the case says.
func TestSiteSeverityLeavesShippedExamplesStanding(t *testing.T) {
	shipped, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	for _, severity := range []finding.Severity{finding.Error, finding.Warning, finding.Information} {
		site, stating := fstest.MapFS{}, map[string]bool{}
		for _, one := range shipped.Rules {
			one.Complete()
			for _, ex := range one.File.Examples {
				if id := one.File.Identifier; ex.Severity != "" || ex.Beyond["severity"] != "" {
					stating[id] = true
					site[id+".yaml"] = &fstest.MapFile{Data: fmt.Appendf(nil, "derivedFrom: %q\napprovalDate: \"2026-01-31\"\nreviewer: quality lead\nseverity: %s\n", id+"@"+one.File.Version, severity)}
				}
			}
		}
		set, err := library.Load(library.Settings{}, rules.FS, site)
		if err != nil {
			t.Fatal(err)
		}
		held := 0
		for _, one := range set.Rules {
			if !stating[one.File.Identifier] {
				continue
			}
			for _, ex := range one.File.AllExamples() {
				if ex.Severity != "" {
					held++
				}
			}
			for _, res := range Run(set, one) {
				if res.Fault != "" {
					t.Errorf("%s as %s, %q: %s", one.File.Identifier, severity, res.Title, res.Fault)
				}
			}
		}
		if len(stating) < 20 || held < 20 {
			t.Errorf("only %d rules have examples with a severity, of which %d are still held to theirs", len(stating), held)
		}
	}
}
