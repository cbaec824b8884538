// Package kappa owns agreement in grades beyond chance, of two readers and of many.
package kappa

import (
	"math"

	"echotally/internal/stats"
)

// Kappa is the agreement of two readings in grades beyond what their frequencies
// alone give.
type Kappa struct {
	Subjects int
	Observed float64 // weighted agreement that was found
	Chance   float64 // weighted agreement of independent readings with the same frequencies
	Value    float64 // NaN when all is one grade
	SE       float64
	Interval stats.Interval
	Adjusted float64 // 2·observed−1 of the unweighted agreement for two grades, (k·observed−1)/(k−1) for k: prevalence and bias taken out
}

// Weights say how much two grades agree, 1 for the same and 0 for the farthest.
type Weights func(i, j, grades int) float64

// Nominal counts only the same grade (Cohen J. Educ Psychol Meas 1960;20:37-46).
func Nominal(i, j, _ int) float64 {
	if i == j {
		return 1
	}
	return 0
}

// Quadratic counts a difference by its square (Cohen J. Psychol Bull
// 1968;70:213-220; Fleiss JL, Cohen J. Educ Psychol Meas 1973;33:613-619).
func Quadratic(i, j, grades int) float64 {
	d := float64(i-j) / float64(grades-1)
	return 1 - d*d
}

// NewKappa takes a square table of counts, rows by the first reading and columns
// by the second, in the order of the grades. The standard error is that of
// Fleiss JL, Cohen J, Everitt BS. Psychol Bull 1969;72:323-327, which holds for
// large samples; adjusted for prevalence and bias as in Byrt T, Bishop J, Carlin
// JB. J Clin Epidemiol 1993;46:423-429, for k grades as in Brennan RL, Prediger
// DJ. Educ Psychol Meas 1981;41:687-699.
func NewKappa(table [][]int, weight Weights, confidence float64) Kappa {
	grades := len(table)
	k := Kappa{}
	rows, columns := make([]float64, grades), make([]float64, grades)
	for i := range table {
		for j, n := range table[i] {
			k.Subjects += n
			rows[i], columns[j] = rows[i]+float64(n), columns[j]+float64(n)
		}
	}
	n := float64(k.Subjects)
	same := 0.0
	byRow, byColumn := make([]float64, grades), make([]float64, grades) // mean weights
	for i := range grades {
		for j := range grades {
			w := weight(i, j, grades)
			k.Observed += w * float64(table[i][j]) / n
			k.Chance += w * rows[i] * columns[j] / (n * n)
			byRow[i] += w * columns[j] / n
			byColumn[j] += w * rows[i] / n
		}
		same += float64(table[i][i]) / n
	}
	k.Adjusted = (float64(grades)*same - 1) / float64(grades-1)
	if 1-k.Chance < 1e-12 {
		k.Value, k.SE, k.Interval = math.NaN(), math.NaN(), stats.Interval{Low: math.NaN(), High: math.NaN()}
		return k
	}
	k.Value = (k.Observed - k.Chance) / (1 - k.Chance)
	sum := 0.0
	for i := range grades {
		for j := range grades {
			d := weight(i, j, grades) - (byRow[i]+byColumn[j])*(1-k.Value)
			sum += float64(table[i][j]) / n * d * d
		}
	}
	last := k.Value - k.Chance*(1-k.Value)
	k.SE = math.Sqrt(math.Max(0, sum-last*last)/n) / (1 - k.Chance)
	half := stats.Z(confidence) * k.SE
	k.Interval = stats.Interval{Low: math.Max(-1, k.Value-half), High: math.Min(1, k.Value+half)}
	return k
}
