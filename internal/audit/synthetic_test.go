package audit_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"echotally/internal/audit"
	"echotally/internal/counted"
	"echotally/internal/finding"
	"echotally/internal/tally"
)

// quiet is a lab in which nothing happens: every share is the same for all
// months, people and scanners, and one scanner changes its software without
// any effect.
func quiet(random *rand.Rand, studies int) []counted.Study {
	present := &tally.Rule{Identifier: "a/present", Title: "A is measured", Kind: finding.Completeness, Severity: finding.Warning}
	agrees := &tally.Rule{Identifier: "a/agrees", Title: "A agrees with B", Kind: finding.Consistency, Severity: finding.Error}
	outcome := func(fails float64) finding.Outcome {
		if random.Float64() < fails {
			return finding.Fail
		}
		return finding.Pass
	}
	out := make([]counted.Study, studies)
	first := time.Date(2025, 11, 1, 0, 0, 0, 0, time.UTC)
	for i := range out {
		date := first.AddDate(0, 0, i*365/studies)
		ended := date.Add(12 * time.Hour)
		wait := time.Hour
		if random.Float64() < 0.08 {
			wait = 200 * time.Hour
		}
		s := counted.Study{
			UID: fmt.Sprintf("1.2.%d", i), Date: date, Protocol: "comprehensive", Kind: "Comprehensive",
			Sonographer: fmt.Sprint("s", random.IntN(8)), Reader: fmt.Sprint("r", random.IntN(6)),
			Device:  counted.Device{Model: "M", Software: "1", Station: fmt.Sprint("ROOM-", random.IntN(3))},
			Results: tally.OutcomesOf(tally.Result{Rule: present, Outcome: outcome(0.2), Severity: finding.Warning}, tally.Result{Rule: agrees, Outcome: outcome(0.06), Severity: finding.Error}),
			Coding:  counted.Coding{Measurements: 20, WantViews: 20, Views: 20}, Times: counted.Times{Ended: ended, Read: ended.Add(time.Hour), Signed: ended.Add(time.Hour + wait)},
		}
		if random.Float64() < 0.1 {
			s.Coding.Views = 5
		}
		if s.Device.Station == "ROOM-1" && i > studies/2 {
			s.Device.Software = "2"
		}
		for k := range 3 {
			s.Values = append(s.Values, counted.Value{Quantity: &counted.Quantity{Measurand: fmt.Sprint("time-", k), Title: "T", Step: 1, Unit: "ms"}, X: 100 + 100*random.Float64()})
		}
		out[i] = s
	}
	return out
}

// When nothing happens, the tests of a report flag anything in at most the
// stated share of reports, and chart signals come about as often as stated.
func TestNothingHappens(t *testing.T) {
	const labs = 120
	random := rand.New(rand.NewPCG(2026, 11))
	opt := options(t)
	opt.Actions = nil
	flagged, charts, expected := 0, 0, 0.0
	for range labs {
		r := audit.Build(quiet(random, 1500), opt)
		tests := 0
		for _, s := range r.Signals {
			switch s.Kind {
			case audit.BeyondLimit, audit.UnusualRuns:
				charts++
			default:
				tests++
			}
		}
		if tests > 0 {
			flagged++
		}
		expected += r.Chance.FalseChart
	}
	t.Logf("%d of %d labs with a flagged test, %d chart signals, %.1f expected", flagged, labs, charts, expected)
	// 5 % of 120 is 6; with 12 the rate would be above 5 % with a probability of 0.99.
	if flagged > 12 {
		t.Errorf("%d of %d labs in which nothing happens have a flagged test; stated: 5 %%", flagged, labs)
	}
	// Charts of measures on the same studies go together, so the count spreads
	// more widely than a Poisson count of this size.
	if got := float64(charts); got > 1.6*expected+10 || got < expected/3 {
		t.Errorf("%d chart signals, stated %.1f", charts, expected)
	}
}
