// Package runs owns the run: points that keep to one side of a median, and how often
// they do so by chance.
package runs

import (
	"math"
	"math/big"

	"echotally/internal/stats"
)

// Runs is the runs analysis of a chart about its median (Anhøj J, Olesen AV.
// PLoS ONE 2014;9:e113825). Points on the median are not useful and are left
// out.
type Runs struct {
	Median         float64
	Useful         int
	LongestRun     int
	Crossings      int
	LongestAllowed int     // a longer run signals
	FewestAllowed  int     // fewer crossings signal
	FalseAlarm     float64 // exact probability that a random sequence of Useful points signals
	Signal         bool
}

// AnalyseRuns applies the two rules to a series.
func AnalyseRuns(x []float64) Runs {
	var present []float64
	for _, v := range x {
		if !math.IsNaN(v) {
			present = append(present, v)
		}
	}
	r := Runs{Median: stats.Median(present)}
	var sides []bool
	for _, v := range present {
		if v != r.Median {
			sides = append(sides, v > r.Median)
		}
	}
	r.Useful = len(sides)
	r.LongestRun, r.Crossings = runsOf(sides)
	if r.Useful < 10 {
		return r // too few points for either rule to mean anything
	}
	r.LongestAllowed, r.FewestAllowed = RunLimits(r.Useful)
	r.FalseAlarm = RunsFalseAlarm(r.Useful, r.LongestAllowed, r.FewestAllowed)
	r.Signal = r.LongestRun > r.LongestAllowed || r.Crossings < r.FewestAllowed
	return r
}

func runsOf(sides []bool) (longest, crossings int) {
	run := 0
	for i, s := range sides {
		if i > 0 && s != sides[i-1] {
			crossings++
			run = 0
		}
		run++
		longest = max(longest, run)
	}
	return longest, crossings
}

// RunLimits returns the longest run allowed, round(log2 n)+3, and the fewest
// crossings allowed, the 5 % quantile of Binomial(n−1, ½).
func RunLimits(n int) (longest, fewest int) {
	return int(math.Round(math.Log2(float64(n)))) + 3, stats.BinomialQuantile(0.05, n-1, 0.5)
}

// RunsFalseAlarm is the exact probability that n independent points, each above
// or below with probability ½, have a run longer than longest or fewer than
// fewest crossings. Sequences are counted by a recursion over (crossings, length
// of the current run).
func RunsFalseAlarm(n, longest, fewest int) float64 {
	if n <= 0 {
		return 0
	}
	// state[c][l]: sequences so far with c crossings, current run l, none longer than longest.
	state := make([][]*big.Int, n)
	for c := range state {
		state[c] = make([]*big.Int, longest+1)
		for l := range state[c] {
			state[c][l] = new(big.Int)
		}
	}
	state[0][1].SetInt64(1) // by symmetry the first side is fixed
	for range n - 1 {
		next := make([][]*big.Int, n)
		for c := range next {
			next[c] = make([]*big.Int, longest+1)
			for l := range next[c] {
				next[c][l] = new(big.Int)
			}
		}
		for c := range n {
			for l := 1; l <= longest; l++ {
				if state[c][l].Sign() == 0 {
					continue
				}
				if l < longest {
					next[c][l+1].Add(next[c][l+1], state[c][l])
				}
				if c+1 < n {
					next[c+1][1].Add(next[c+1][1], state[c][l])
				}
			}
		}
		state = next
	}
	silent := new(big.Int)
	for c := fewest; c < n; c++ {
		for l := 1; l <= longest; l++ {
			silent.Add(silent, state[c][l])
		}
	}
	all := new(big.Int).Lsh(big.NewInt(1), uint(n-1))
	share, _ := new(big.Rat).SetFrac(silent, all).Float64()
	return 1 - share
}

// RunCountLimits returns the exact two-sided limits on the number of runs about
// the median with n useful points split equally: a count at or below few, or at
// or above many, has at most tail probability each (Swed FS, Eisenhart C. Ann
// Math Stat 1943;14:66-87).
func RunCountLimits(n int, tail float64) (few, many int) {
	half := n / 2
	probability := func(runs int) float64 {
		k := runs / 2
		ways := 0.0
		if runs%2 == 0 {
			ways = 2 * choose(half-1, k-1) * choose(half-1, k-1)
		} else {
			ways = 2 * choose(half-1, k) * choose(half-1, k-1)
		}
		return ways / choose(n, half)
	}
	sum := 0.0
	for r := 2; r <= n; r++ {
		if sum += probability(r); sum > tail {
			few = r - 1
			break
		}
	}
	sum = 0
	for r := n; r >= 2; r-- {
		if sum += probability(r); sum > tail {
			many = r + 1
			break
		}
	}
	return few, many
}

func choose(n, k int) float64 {
	if k < 0 || k > n {
		return 0
	}
	f, _ := new(big.Float).SetInt(new(big.Int).Binomial(int64(n), int64(k))).Float64()
	return f
}

// BalancedRunsFalseAlarm is the probability that n points, as many above the
// median as below and in random order, have a run longer than longest or fewer
// than fewest crossings. Unlike [RunsFalseAlarm] it takes into account that the
// median is that of the points themselves (the distribution of runs given the
// numbers on both sides: Swed FS, Eisenhart C. Ann Math Stat 1943;14:66-87).
func BalancedRunsFalseAlarm(n, longest, fewest int) float64 {
	half := n / 2
	// Sequences so far by the points on the side of the last one and on the other,
	// the crossings and the length of the last run.
	type state struct{ own, other, crossings, run int }
	ways := map[state]float64{{own: 1, other: 0, crossings: 0, run: 1}: 1}
	for range 2*half - 1 {
		next := map[state]float64{}
		for s, w := range ways {
			if s.own < half && s.run < longest {
				next[state{own: s.own + 1, other: s.other, crossings: s.crossings, run: s.run + 1}] += w
			}
			if s.other < half {
				// The sides change roles, so that own is always that of the last point.
				next[state{own: s.other + 1, other: s.own, crossings: s.crossings + 1, run: 1}] += w
			}
		}
		ways = next
	}
	silent := 0.0
	for s, w := range ways {
		if s.crossings >= fewest {
			silent += w
		}
	}
	return 1 - 2*silent/choose(2*half, half)
}
