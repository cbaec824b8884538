package stats

import "math"

// Learning is the cumulative sum of a learner's failures with the boundaries of
// a sequential probability ratio test (Bolsin S, Colson M. Int J Qual Health
// Care 2000;12:433-438).
type Learning struct {
	Step         float64   // subtracted for a success; 1 − Step is added for a failure
	Accept       float64   // −Accept crossed downwards: failure rate acceptable
	Review       float64   // +Review crossed upwards: failure rate unacceptable
	Sum          []float64 // after each procedure, in order
	AcceptedAt   int       // index of the first crossing, −1 when none
	ReviewNeeded int       // index of the first crossing, −1 when none
}

// NewLearning runs the CUSUM: acceptable and unacceptable are failure rates,
// alpha and beta the error rates.
func NewLearning(failures []bool, acceptable, unacceptable, alpha, beta float64) Learning {
	p, q := math.Log(unacceptable/acceptable), math.Log((1-acceptable)/(1-unacceptable))
	l := Learning{Step: q / (p + q), Accept: math.Log((1-alpha)/beta) / (p + q), Review: math.Log((1-beta)/alpha) / (p + q), AcceptedAt: -1, ReviewNeeded: -1}
	sum := 0.0
	for i, failed := range failures {
		if failed {
			sum += 1 - l.Step
		} else {
			sum -= l.Step
		}
		l.Sum = append(l.Sum, sum)
		if l.AcceptedAt < 0 && sum <= -l.Accept {
			l.AcceptedAt = i
		}
		if l.ReviewNeeded < 0 && sum >= l.Review {
			l.ReviewNeeded = i
		}
	}
	return l
}
