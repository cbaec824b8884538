package ruletest_test

import (
	"flag"
	"os"
	"slices"
	"strings"
	"testing"

	"echotally/internal/ruletest"
)

var update = flag.Bool("update", false, "rewrite the golden files")

func TestExamplesOfEveryRule(t *testing.T) {
	ruletest.Examples(t, ruletest.Load(t))
}

// TestExamplesNoticeAMovedLimit changes every active rule in one place at a
// time. What no example notices stands in the golden file, which may only
// shrink.
func TestExamplesNoticeAMovedLimit(t *testing.T) {
	const golden = "testdata/unnoticed.txt"
	got := strings.Join(ruletest.Survivors(t, ruletest.Load(t)), "\n") + "\n"
	if *update {
		if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	known := strings.Fields(strings.ReplaceAll(string(want), " ", "_"))
	now := strings.Fields(strings.ReplaceAll(got, " ", "_"))
	for _, change := range now {
		if !slices.Contains(known, change) {
			t.Errorf("no example notices this change; add one at the limit and one just beyond:\n%s", change)
		}
	}
	for _, change := range known {
		if !slices.Contains(now, change) {
			t.Errorf("noticed now, good; take it off with: go test ./internal/ruletest -update\n%s", change)
		}
	}
}
