package stats

import "math"

// SampleSize is how many of a population show a share within a margin either
// side, rounded up: z²p(1−p)/d², corrected for a finite population; a population
// of 0 has no end (Cochran WG. Sampling Techniques, 3rd ed. 1977, section 4.4).
func SampleSize(share, margin, confidence float64, population int) int {
	q := Z(confidence)
	n := q * q * share * (1 - share) / (margin * margin)
	if population > 0 {
		n /= 1 + (n-1)/float64(population)
	}
	return int(math.Ceil(n - 1e-9))
}

// CleanNeeded is how many cases, all of them clean, show that a fault rate is
// lower than the one given; of a finite population by the hypergeometric
// distribution, -1 where even all of it cannot.
func CleanNeeded(rate, confidence float64, population int) int {
	if population == 0 {
		return int(math.Ceil(math.Log(1-confidence)/math.Log(1-rate) - 1e-9))
	}
	faulty := int(math.Ceil(rate*float64(population) - 1e-9)) // fewest that make the rate
	none := 1.0
	for n := 1; n <= population; n++ {
		none *= math.Max(0, float64(population-faulty-n+1)) / float64(population-n+1)
		if none <= 1-confidence {
			return n
		}
	}
	return -1
}
