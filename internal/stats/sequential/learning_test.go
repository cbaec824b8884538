package sequential_test

import (
	"slices"
	"testing"

	"echotally/internal/stats/sequential"
)

// The boundaries are those of Wald's test for a proportion: the sequential
// sampling plan of the NIST/SEMATECH e-Handbook 6.2.6 for 1 % against 10 % with
// error rates of 5 and 10 % has the lines −0.939 + 0.0397 n and 1.205 + 0.0397 n
// (from memory).
func TestLearningHasTheLinesOfTheSequentialPlan(t *testing.T) {
	l := sequential.NewLearning(nil, 0.01, 0.10, 0.05, 0.10)
	near(t, "slope", l.Step, 0.0397, 1e-4)
	near(t, "acceptance line", l.Accept, 0.939, 1e-3)
	near(t, "rejection line", l.Review, 1.205, 1e-3)
}

// Each decision begins a new test: a flawless record is acceptable every 19
// procedures (2.7095/0.1452), one of failures alone is up for review every four
// (2.7095/0.8548), and credit from before does not hide what follows.
func TestLearningBeginsAnewAfterADecision(t *testing.T) {
	run := func(n int, failed bool) []bool { return slices.Repeat([]bool{failed}, n) }
	at := func(failures []bool) []sequential.Decision {
		return sequential.NewLearning(failures, 0.10, 0.20, 0.1, 0.1).Decisions
	}
	for _, one := range []struct {
		name     string
		failures []bool
		want     []sequential.Decision
	}{
		{"flawless", run(40, false), []sequential.Decision{{At: 18, Acceptable: true}, {At: 37, Acceptable: true}}},
		{"failures alone", run(9, true), []sequential.Decision{{At: 3}, {At: 7}}},
		{"skill lost", append(run(19, false), run(4, true)...), []sequential.Decision{{At: 18, Acceptable: true}, {At: 22}}},
		{"too few to tell", run(18, false), nil},
		{"none", nil, nil},
	} {
		if got := at(one.failures); !slices.Equal(got, one.want) {
			t.Errorf("%s: %v, want %v", one.name, got, one.want)
		}
	}
}

// firstDecisions are the exact probabilities that the first test of a sequence
// ends in review and in acceptance when every procedure fails with probability
// p; all paths are followed for so many procedures.
func firstDecisions(l sequential.Learning, p float64, procedures int) (review, accept float64) {
	open := map[int]float64{0: 1} // by failures so far
	for n := 1; n <= procedures; n++ {
		next := map[int]float64{}
		for failures, chance := range open {
			next[failures+1] += chance * p
			next[failures] += chance * (1 - p)
		}
		for failures, chance := range next {
			switch sum := float64(failures) - float64(n)*l.Step; {
			case sum >= l.Review:
				review += chance
				delete(next, failures)
			case sum <= -l.Accept:
				accept += chance
				delete(next, failures)
			}
		}
		open = next
	}
	return review, accept
}

// Wald A, Ann Math Stat 1945;16:117-186: with these boundaries the true error
// rates are at most alpha/(1−beta) and beta/(1−alpha). The tests of the example
// are neither so wide that they never err.
func TestLearningErrsAsOftenAsSaid(t *testing.T) {
	for _, c := range []struct{ p0, p1, alpha, beta float64 }{{0.10, 0.20, 0.1, 0.1}, {0.05, 0.15, 0.1, 0.1}, {0.04, 0.08, 0.1, 0.1}, {0.01, 0.10, 0.05, 0.10}} {
		l := sequential.NewLearning(nil, c.p0, c.p1, c.alpha, c.beta)
		review, accepted := firstDecisions(l, c.p0, 3000)
		if review > c.alpha/(1-c.beta) || review < c.alpha/3 || review+accepted < 0.9999 {
			t.Errorf("%v: at the acceptable rate %.4f end in review, %.4f in acceptance", c, review, accepted)
		}
		review, accepted = firstDecisions(l, c.p1, 3000)
		if accepted > c.beta/(1-c.alpha) || accepted < c.beta/3 || review+accepted < 0.9999 {
			t.Errorf("%v: at the unacceptable rate %.4f end in acceptance, %.4f in review", c, accepted, review)
		}
	}
}

// Bolsin S, Colson M, Int J Qual Health Care 2000;12:433 (form; values for the
// rate pairs used in anaesthesia and endoscopy training).
func TestLearningBoundaries(t *testing.T) {
	for _, c := range []struct{ p0, p1, step, h float64 }{{0.10, 0.20, 0.145244, 2.709511}, {0.05, 0.15, 0.091934, 1.816131}, {0.04, 0.08, 0.057849, 2.986549}} {
		l := sequential.NewLearning(nil, c.p0, c.p1, 0.1, 0.1)
		near(t, "step", l.Step, c.step, 1e-6)
		near(t, "boundary", l.Accept, c.h, 1e-6)
		near(t, "boundary", l.Review, c.h, 1e-6)
	}
}
