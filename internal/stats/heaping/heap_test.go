package heaping_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"echotally/internal/stats/heaping"
)

// drawn are values of a distribution on whole steps, a share of them rounded to
// the next multiple of five.
func drawn(random *rand.Rand, n int, rounded float64, one func() float64) map[int]int {
	out := map[int]int{}
	for range n {
		x := one()
		if random.Float64() < rounded {
			x = 5 * math.Round(x/5)
		}
		out[int(math.Round(x))]++
	}
	return out
}

// A smooth density is no heap, whether a slope, a narrow hill or a skew one; one
// value in ten rounded is.
func TestSmoothSlopesAreNoHeap(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 11))
	normal := func(mean, sd float64) func() float64 {
		return func() float64 { return mean + sd*random.NormFloat64() }
	}
	const labs = 400
	for _, one := range []struct {
		name string
		draw func() float64
	}{
		{"hill on a multiple of five", normal(50, 3)},
		{"hill beside one", normal(47, 3)},
		{"broad", normal(60, 12)},
		{"slope", func() float64 { return 20 + random.ExpFloat64()*8 }},
	} {
		alarms, found := 0, 0
		for range labs {
			if h := heaping.Heaping(drawn(random, 1500, 0, one.draw)); h.Told && h.PValue < 0.05 {
				alarms++
			}
			if h := heaping.Heaping(drawn(random, 1500, 0.1, one.draw)); h.Told && h.PValue < 0.05 {
				found++
			}
		}
		// 20 of 400 are expected; 36 or more come by chance once in a thousand. A
		// slope with an edge has one more, at the edge.
		if alarms > 36 {
			t.Errorf("%s: %d of %d called a heap", one.name, alarms, labs)
		}
		if found < labs*3/4 {
			t.Errorf("%s: one in ten rounded is found in %d of %d", one.name, found, labs)
		}
	}
}

// Four values of one step cannot tell.
func TestNarrowRangesAreNotTold(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 1))
	h := heaping.Heaping(drawn(random, 1000, 0, func() float64 { return 10 + random.NormFloat64() }))
	if h.Told || h.PValue != 1 {
		t.Errorf("%+v", h)
	}
}

func TestGrid(t *testing.T) {
	var every, even, tens []float64
	for i := range 200 {
		every, even, tens = append(every, float64(i)), append(even, 0.02*float64(i)), append(tens, float64(i%40)*10)
	}
	for _, one := range []struct {
		name   string
		values []float64
		step   float64
		want   float64
	}{{"whole steps", every, 1, 1}, {"pixels of two steps", even, 0.01, 2}, {"centimetres in millimetres", tens, 1, 10}, {"finer than the step", every, 3, 1}, {"one typed in", append(tens, 7), 1, 10}} {
		if got := heaping.Grid(one.values, one.step); got != one.want {
			t.Errorf("%s: %g, want %g", one.name, got, one.want)
		}
	}
}

// The same counts come to the same number to the last digit, in whatever order the map
// gives them.
func TestHeapingRepeatsToTheLastDigit(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 9))
	counts := drawn(random, 3000, 0.1, func() float64 { return 200 + 40*random.NormFloat64() })
	first := heaping.Heaping(counts)
	for range 100 {
		if again := heaping.Heaping(counts); again != first {
			t.Fatalf("%+v, and once more %+v", first, again)
		}
	}
}

// Digits of pi: the first 10 000 and 1000 decimals (classic digit table; the
// chi-square of the first from memory).
func TestEndDigits(t *testing.T) {
	d := heaping.EndDigits([10]int{968, 1026, 1021, 974, 1012, 1046, 1021, 970, 948, 1014})
	near(t, "chi-square", d.ChiSquare, 9.318, 1e-3)
	near(t, "p", d.PValue, 0.4085, 1e-4)
	d = heaping.EndDigits([10]int{93, 116, 103, 102, 93, 97, 94, 95, 101, 106})
	near(t, "chi-square", d.ChiSquare, 4.74, 1e-9)
	near(t, "p", d.PValue, 0.8564, 1e-4)
	small := heaping.EndDigits([10]int{10, 2, 2, 2, 2, 10, 2, 2, 2, 2})
	if !small.Exact || small.PValue > 1e-4 {
		t.Errorf("20 of 36 values ending in 0 or 5: %+v", small)
	}
}
