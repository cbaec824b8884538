package ruletest_test

import (
	_ "embed"
	"slices"
	"strings"
	"testing"

	"echotally/internal/library"
	"echotally/internal/ruletest/mutant"

	"echotally/internal/rule"
	"echotally/internal/ruletest"
)

func TestExamplesOfEveryRule(t *testing.T) {
	ruletest.Examples(t, ruletest.Load(t))
}

//go:embed testdata/unnoticeable.txt
var unnoticeable string

// excepted reads the changes that no example can notice; each says why.
func excepted(t *testing.T) map[string][]string {
	t.Helper()
	out := map[string][]string{}
	for line := range strings.Lines(unnoticeable) {
		row, why, _ := strings.Cut(strings.TrimSpace(line), " # ")
		id, change, found := strings.Cut(row, ": ")
		if !found || why == "" {
			t.Errorf("testdata/unnoticeable.txt: want \"rule: change # why\", not %q", line)
		}
		out[id] = append(out[id], change)
	}
	return out
}

// TestExamplesShowEveryLimit asks of each active rule the examples that
// rules/README.md demands beside one of each outcome: exactly at each limit,
// just beyond it, and open.
func TestExamplesShowEveryLimit(t *testing.T) {
	set, known := ruletest.Load(t), excepted(t)
	for _, r := range set.Rules {
		if r.File.Status != "active" {
			continue
		}
		id := r.File.Identifier
		t.Run(id, func(t *testing.T) {
			t.Parallel()
			now := lacking(set, r)
			for _, what := range now {
				if !slices.Contains(known[id], what) {
					t.Errorf("no example shows this (rules/README.md, Examples):\n%s", what)
				}
			}
			for _, what := range known[id] {
				if !slices.Contains(now, what) {
					t.Errorf("noticed now, good; take it off testdata/unnoticeable.txt:\n%s", what)
				}
			}
		})
	}
}

func lacking(set *library.Library, r *rule.Rule) []string {
	return slices.Concat(mutant.Unnoticed(set, r), ruletest.Edges(set, r), ruletest.NeverOpen(set, r))
}

// TestAMissingExampleIsFound takes one example out of a rule at a time and
// looks for the complaint.
func TestAMissingExampleIsFound(t *testing.T) {
	set := ruletest.Load(t)
	for _, c := range []struct{ rule, title, complaint string }{
		{"tricuspid-valve/annulus-plausible", "at the high limit", "require: between(x, low, high) with high itself left out"},
		{"tricuspid-valve/annulus-plausible", "just above", "high: 91 for 90"},
		{"left-ventricle/ejection-fraction-from-volumes", "exactly at the limit", "no example at the limit"},
		{"left-ventricle/ejection-fraction-from-volumes", "just beyond", "no example just beyond"},
		{"left-ventricle/diastolic-volume-above-systolic", "esv equal to edv", "require: esv <= edv for esv < edv"},
		{"tricuspid-valve/severe-with-normal-right-heart", "annulus exactly at its limit", "require: annulus > annulus_limit for annulus >= annulus_limit"},
		{"aorta/root-fits-body", "exactly at the upper limit, but root 40.43 mm", "see: 2.62 for 2.61"},
		{"right-atrium/rap-fits-ivc", "collapse exactly at the end of the grey zone", "collapse_grey: 4 for 5"},
		{"repeats/aortic-velocity-mean-of-its-beats", "two beats are enough", "appliesTo: count(beat) >= (2 + 1) for"},
		{"repeats/lateral-e-prime-beats-agree", "exactly at the limit", "require: spread(x) < breathing for"},
		{"left-ventricle/size-word-fits-dimension", "British edition, man severe at the edge, but lvidd 62 mm", "severe: 64 for 65"},
		{"left-ventricle/systolic-to-diastolic-dimension-usual", "diastolic dimension of zero gives no ratio", "no example comes to open, but \"usual\" does with lvidd of zero"},
	} {
		t.Run(c.rule+" without "+c.title, func(t *testing.T) {
			if got := lacking(set, without(t, set, c.rule, c.title)); !slices.ContainsFunc(got, func(s string) bool { return strings.HasPrefix(s, c.complaint) }) {
				t.Errorf("want a complaint that begins %q, got:\n%s", c.complaint, strings.Join(got, "\n"))
			}
		})
	}
}

func find(t *testing.T, set *library.Library, id string) *rule.Rule {
	t.Helper()
	i := slices.IndexFunc(set.Rules, func(r *rule.Rule) bool { return r.File.Identifier == id })
	if i < 0 {
		t.Fatalf("no rule %s", id)
	}
	return set.Rules[i]
}

// without gives a rule with one example less, all of them written out.
func without(t *testing.T, set *library.Library, id, title string) *rule.Rule {
	t.Helper()
	less := *find(t, set, id)
	f := &less.File
	all := f.AllExamples()
	f.Possible, f.Present, f.Ascending, f.Computed = nil, nil, nil, nil
	f.Examples = slices.DeleteFunc(slices.Clone(all), func(ex rule.Example) bool { return ex.Title == title })
	if len(f.Examples) != len(all)-1 {
		t.Fatalf("%s has no example %q", id, title)
	}
	return &less
}
