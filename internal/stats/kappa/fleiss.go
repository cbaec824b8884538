package kappa

import "math"

// ManyReaders is the agreement in grades of more than two readings of each subject,
// whoever the readers are (Fleiss JL. Psychol Bull 1971;76:378-382).
type ManyReaders struct {
	Subjects, Readings int // readings of each subject
	Observed, Chance   float64
	Value              float64 // NaN when all is one grade
}

// NewManyReaders takes, of each subject, how many readings gave each grade; all
// subjects have equally many readings, two or more.
func NewManyReaders(counts [][]int) ManyReaders {
	m := ManyReaders{Subjects: len(counts)}
	for _, n := range counts[0] {
		m.Readings += n
	}
	grades := make([]float64, len(counts[0]))
	subjects, readings := float64(m.Subjects), float64(m.Readings)
	for _, row := range counts {
		same := 0.0
		for g, n := range row {
			grades[g] += float64(n) / (subjects * readings)
			same += float64(n * (n - 1))
		}
		m.Observed += same / (readings * (readings - 1)) / subjects
	}
	for _, p := range grades {
		m.Chance += p * p
	}
	if m.Value = (m.Observed - m.Chance) / (1 - m.Chance); 1-m.Chance < 1e-12 {
		m.Value = math.NaN()
	}
	return m
}
