// Package sequential owns the test that is looked at after every procedure: the
// learning curve.
package sequential

import "math"

// Learning is the cumulative sum of a learner's failures with the boundaries of
// a sequential probability ratio test (Bolsin S, Colson M. Int J Qual Health
// Care 2000;12:433-438). A decision ends the test: the next procedure begins
// another one at zero, else early credit would hide later failures (resetting
// test; Sims A, Keltie K, Robson S. Assessment of competency in clinical
// measurement, Newcastle University ePrints 192363). The test for learning
// curves of Biau DJ et al., Br J Surg 2008;95:925-929, asks only for the lower
// of the two decisions.
type Learning struct {
	Step      float64   // subtracted for a success; 1 − Step is added for a failure
	Accept    float64   // −Accept reached: failure rate acceptable
	Review    float64   // +Review reached: failure rate unacceptable
	Sum       []float64 // after each procedure, in order; of a decision, the sum that made it
	Decisions []Decision
}

// Decision is the end of one test of the sequence.
type Decision struct {
	At         int // index of the procedure
	Acceptable bool
}

// NewLearning runs the CUSUM: acceptable and unacceptable are failure rates,
// alpha and beta the error rates.
func NewLearning(failures []bool, acceptable, unacceptable, alpha, beta float64) Learning {
	p, q := math.Log(unacceptable/acceptable), math.Log((1-acceptable)/(1-unacceptable))
	l := Learning{Step: q / (p + q), Accept: math.Log((1-alpha)/beta) / (p + q), Review: math.Log((1-beta)/alpha) / (p + q)}
	sum := 0.0
	for i, failed := range failures {
		if failed {
			sum += 1 - l.Step
		} else {
			sum -= l.Step
		}
		l.Sum = append(l.Sum, sum)
		if sum <= -l.Accept || sum >= l.Review {
			l.Decisions = append(l.Decisions, Decision{i, sum < 0})
			sum = 0
		}
	}
	return l
}
