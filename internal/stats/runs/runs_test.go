package runs_test

import (
	"fmt"
	"math/bits"
	"testing"

	"echotally/internal/stats/runs"
)

// All balanced sequences of up to sixteen points, counted one by one.
func TestBalancedRunsByEnumeration(t *testing.T) {
	for _, n := range []int{10, 12, 16} {
		longest, fewest := runs.RunLimits(n)
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
		near(t, fmt.Sprintf("%d points", n), runs.BalancedRunsFalseAlarm(n, longest, fewest), float64(signals)/float64(all), 1e-12)
	}
}

// Anhøj J, Olesen AV, PLoS ONE 2014;9:e113825: limits by number of useful points.
func TestRunLimits(t *testing.T) {
	for n, want := range map[int][2]int{10: {6, 2}, 12: {7, 3}, 16: {7, 4}, 20: {7, 6}, 24: {8, 8}, 30: {8, 10}, 36: {8, 13}, 60: {9, 23}} {
		longest, fewest := runs.RunLimits(n)
		if longest != want[0] || fewest != want[1] {
			t.Errorf("%d points: %d and %d, published %v", n, longest, fewest, want)
		}
	}
}

// Swed FS, Eisenhart C, Ann Math Stat 1943;14:66 (exact two-sided 5 % limits;
// the bound itself signals).
func TestRunCountLimits(t *testing.T) {
	for n, want := range map[int][2]int{10: {2, 10}, 12: {3, 11}, 16: {4, 14}, 20: {6, 16}, 24: {7, 19}, 30: {10, 22}} {
		few, many := runs.RunCountLimits(n, 0.025)
		if few != want[0] || many != want[1] {
			t.Errorf("%d points: %d and %d, exact %v", n, few, many, want)
		}
	}
}

// TestRunsFalseAlarmByEnumeration counts all sequences of 12 points.
func TestRunsFalseAlarmByEnumeration(t *testing.T) {
	const n = 12
	longest, fewest := runs.RunLimits(n)
	signals := 0
	for pattern := range 1 << n {
		run, best, crossings := 1, 1, 0
		for i := 1; i < n; i++ {
			if pattern>>i&1 == pattern>>(i-1)&1 {
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
	near(t, "false alarms", runs.RunsFalseAlarm(n, longest, fewest), float64(signals)/(1<<n), 1e-12)
}

func TestRunsOfASeries(t *testing.T) {
	shift := []float64{5, 6, 5, 6, 5, 6, 5, 6, 5, 6, 9, 10, 9, 10, 9, 10, 9, 10, 9, 10}
	r := runs.AnalyseRuns(shift)
	if !r.Signal || r.LongestRun != 10 {
		t.Errorf("a clear shift: %+v", r)
	}
	if r.FalseAlarm <= 0 || r.FalseAlarm > 0.12 {
		t.Errorf("false-alarm rate %v; Anhøj and Olesen found about 5 %%", r.FalseAlarm)
	}
	mixed := []float64{1, 9, 2, 8, 3, 7, 2, 9, 1, 8, 2, 7, 3}
	if r := runs.AnalyseRuns(mixed); r.Signal {
		t.Errorf("alternating values: %+v", r)
	}
	if r := runs.AnalyseRuns([]float64{1, 2, 3}); r.Signal || r.LongestAllowed != 0 {
		t.Errorf("three points cannot signal: %+v", r)
	}
}
