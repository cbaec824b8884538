package review

import (
	"fmt"

	"echotally/internal/stats"
	"echotally/internal/table"
)

// SizeWords answers, in words, how many cases show a share within a margin, how
// many clean ones exclude a fault rate, and which rate clean ones exclude; what was
// not asked is left out, 0 clean cases are none.
func SizeWords(ofShare bool, share, margin float64, ofRate bool, rate float64, clean, population int) []string {
	of := "of any number of studies"
	if population > 0 {
		of = fmt.Sprintf("of %d studies", population)
	}
	var out []string
	if ofShare {
		out = append(out, fmt.Sprintf("%d cases %s show a share of about %g %% within %g points either side (95 %%)", stats.SampleSize(share, margin, table.Confidence, population), of, 100*share, 100*margin))
	}
	if ofRate {
		if n := stats.CleanNeeded(rate, table.Confidence, population); n < 0 {
			out = append(out, fmt.Sprintf("not even all %d studies, all clean, exclude a fault rate of %g %%", population, 100*rate))
		} else {
			out = append(out, fmt.Sprintf("%d cases %s, all clean, exclude a fault rate of %g %% or more (95 %%)", n, of, 100*rate))
		}
	}
	if clean > 0 {
		out = append(out, fmt.Sprintf("%d clean cases exclude a fault rate above %.1f %% (95 %%, one-sided, exact); they say nothing of lower ones", clean, 100*stats.UpperBoundOfNone(clean, table.Confidence)))
	}
	return out
}
