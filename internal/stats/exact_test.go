package stats_test

import (
	"fmt"
	"math/bits"
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

// All balanced sequences of up to sixteen points, counted one by one.
func TestBalancedRunsByEnumeration(t *testing.T) {
	for _, n := range []int{10, 12, 16} {
		longest, fewest := stats.RunLimits(n)
		all, signals := 0, 0
		for bitsOf := range 1 << n {
			if bits.OnesCount(uint(bitsOf)) != n/2 {
				continue
			}
			all++
			run, best, crossings := 1, 1, 0
			for i := 1; i < n; i++ {
				if bitsOf>>i&1 == bitsOf>>(i-1)&1 {
					run++
				} else {
					run, crossings = 1, crossings+1
				}
				best = max(best, run)
			}
			if best > longest || crossings < fewest {
				signals++
			}
		}
		near(t, fmt.Sprintf("%d points", n), stats.BalancedRunsFalseAlarm(n, longest, fewest), float64(signals)/float64(all), 1e-12)
	}
}

// The false-alarm rate of a point by adding up the binomial probabilities of
// Binomial(10, 0.5): 0 and 10 beyond 0.05-0.95 are 2/1024; 9 of 10 is on the
// limit 0.9 and does not count.
func TestOutsideLimits(t *testing.T) {
	near(t, "both ends", stats.OutsideLimits(10, 0.5, stats.Interval{Low: 0.05, High: 0.95}), 2.0/1024, 1e-12)
	near(t, "on the limit", stats.OutsideLimits(10, 0.5, stats.Interval{Low: 0.1, High: 0.9}), 2.0/1024, 1e-12)
	near(t, "no room", stats.OutsideLimits(10, 1, stats.Interval{Low: 1, High: 1}), 0, 0)
}
