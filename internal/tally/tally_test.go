package tally_test

import (
	"slices"
	"testing"

	"echotally/internal/finding"
	"echotally/internal/tally"
)

// rules are those of a made-up set.
func rules() []*tally.Rule {
	return []*tally.Rule{
		{Identifier: "a/present", Kind: finding.Completeness, Severity: finding.Warning},
		{Identifier: "b/present", Kind: finding.Completeness, Severity: finding.Information},
		{Identifier: "c/fits", Kind: finding.Consistency, Severity: finding.Error},
	}
}

// TestCodesAreFew: results are counted in tables, and looked for by the bits of a number,
// that have room for so many codes.
func TestCodesAreFew(t *testing.T) {
	for _, outcome := range []finding.Outcome{finding.Pass, finding.Fail, finding.Open, finding.Review, finding.Excused} {
		for _, severity := range []finding.Severity{finding.Information, finding.Warning, finding.Error} {
			if code := tally.Code(outcome, severity); code == 0 || code >= tally.MaxCodes {
				t.Errorf("%s, %s has code %d, room is for %d", outcome, severity, code, tally.MaxCodes)
			}
		}
	}
}

// studies are all combinations of what two rules can come to, and of how grave.
func studies(set []*tally.Rule) []*tally.Outcomes {
	outcomes := []finding.Outcome{finding.NotApplicable, finding.Pass, finding.Fail, finding.Open, finding.Review, finding.Excused}
	var out []*tally.Outcomes
	for _, first := range outcomes {
		for _, second := range outcomes {
			for _, severity := range []finding.Severity{finding.Information, finding.Warning, finding.Error} {
				o := tally.NewOutcomes(set)
				o.Set(0, first, severity, "")
				o.Set(1, second, finding.Information, "")
				o.Set(2, first, severity, "")
				out = append(out, o)
			}
		}
	}
	return out
}

// TestTimesAreWhatStudiesCameTo: what is counted at a time is what going through the
// studies one by one counts, of several sets with the same rules as well.
func TestTimesAreWhatStudiesCameTo(t *testing.T) {
	type result struct {
		rule     string
		outcome  finding.Outcome
		severity finding.Severity
	}
	var times tally.Times
	times.Add(nil) // a study that was not judged
	want, got := map[result]int{}, map[result]int{}
	for _, set := range [][]*tally.Rule{rules(), rules(), rules()[:2]} {
		list := studies(append(set, &tally.Rule{Identifier: "d/never"}))
		if len(set) == 3 {
			list = append(list, studies(set)...)
		}
		for _, o := range list {
			times.Add(o)
			for r := range o.All() {
				want[result{r.Rule.Identifier, r.Outcome, r.Severity}]++
			}
		}
	}
	for r, n := range times.All() {
		got[result{r.Rule.Identifier, r.Outcome, r.Severity}] += n
	}
	if len(want) < 20 {
		t.Fatalf("%d results: the test shows little", len(want))
	}
	for r, n := range want {
		if got[r] != n {
			t.Errorf("%+v: %d times, want %d", r, got[r], n)
		}
	}
	if len(got) != len(want) {
		t.Errorf("%d results, want %d", len(got), len(want))
	}
}

// TestSomeOutcomes: those asked for come, in their order, and no others.
func TestSomeOutcomes(t *testing.T) {
	for _, o := range studies(rules()) {
		var want, got []tally.Result
		for r := range o.All() {
			if r.Outcome == finding.Fail || r.Outcome == finding.Excused {
				want = append(want, r)
			}
		}
		for r := range o.Of(finding.Fail, finding.Excused) {
			got = append(got, r)
		}
		if !slices.Equal(got, want) {
			t.Errorf("%+v, want %+v", got, want)
		}
	}
}

// TestSumsAreThoseOfTheResults holds what is taken together once against the results
// one by one.
func TestSumsAreThoseOfTheResults(t *testing.T) {
	set := rules()
	set[0].Conditional = true
	waivers := []tally.Waiver{{Rule: "b/present", Effect: tally.Exception}}
	for _, o := range studies(set) {
		var want tally.Sums
		for r := range o.All() {
			switch at := r.Stands(waivers); r.Rule.Identifier {
			case "a/present":
				if r.Grave() {
					want.All.Add(at)
					want.Conditional.Add(at)
				}
			case "b/present":
				want.Notes.Add(at)
			case "c/fits":
				if r.Grave() && r.Failing() {
					want.Contradictions++
				}
			}
		}
		if got := o.Sum(waivers); got != want {
			t.Errorf("%+v, want %+v", got, want)
		}
	}
}
