package stats_test

import (
	"testing"

	"echotally/internal/stats"
)

// Fisher's tea-tasting experiment (The Design of Experiments, 1935, chapter 2):
// of eight cups four rightly named gives 1/70 on one side, three of four 17/70;
// two-sided 2/70 and 34/70.
func TestFisherExactOfTheTea(t *testing.T) {
	near(t, "all four", stats.FisherExact(stats.Proportion{Count: 4, Total: 4}, stats.Proportion{Count: 0, Total: 4}), 2.0/70, 1e-12)
	near(t, "three of four", stats.FisherExact(stats.Proportion{Count: 3, Total: 4}, stats.Proportion{Count: 1, Total: 4}), 34.0/70, 1e-12)
	near(t, "nobody", stats.FisherExact(stats.Proportion{}, stats.Proportion{Count: 1, Total: 4}), 1, 0)
}
