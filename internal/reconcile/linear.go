package reconcile

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

func finite(x []float64) bool {
	for _, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

// columns picks columns of m; nil when none are asked for.
func columns(m *mat.Dense, index []int) *mat.Dense {
	if len(index) == 0 {
		return nil
	}
	rows, _ := m.Dims()
	out := mat.NewDense(rows, len(index), nil)
	for c, i := range index {
		for r := range rows {
			out.Set(r, c, m.At(r, i))
		}
	}
	return out
}

// leftNullSpace returns an orthonormal basis, as rows, of the combinations of
// relations in which the unmeasured variables cancel; the identity when there
// are none, nil when nothing is left.
func leftNullSpace(ju *mat.Dense, relations int) *mat.Dense {
	if relations == 0 {
		return nil
	}
	if ju == nil {
		id := mat.NewDense(relations, relations, nil)
		for i := range relations {
			id.Set(i, i, 1)
		}
		return id
	}
	var svd mat.SVD
	svd.Factorize(ju, mat.SVDFullU)
	var u mat.Dense
	svd.UTo(&u)
	rank := rankOf(svd.Values(nil))
	if rank == relations {
		return nil
	}
	out := mat.NewDense(relations-rank, relations, nil)
	for r := range relations - rank {
		for c := range relations {
			out.Set(r, c, u.At(c, rank+r))
		}
	}
	return out
}

func rankOf(singular []float64) int {
	rank := 0
	for _, s := range singular {
		if s > rankTolerance*math.Max(singular[0], 1e-300) {
			rank++
		}
	}
	return rank
}

// pseudoInverse inverts a symmetric non-negative matrix on its range and
// returns its rank: two relations that say the same count once.
func pseudoInverse(s *mat.Dense) (*mat.Dense, int) {
	inverse, _ := generalInverse(s)
	var svd mat.SVD
	svd.Factorize(s, mat.SVDNone)
	return inverse, rankOf(svd.Values(nil))
}

// generalInverse returns the Moore-Penrose inverse of m and, per column of m,
// how much of that variable lies in the null space (0: determined).
func generalInverse(m *mat.Dense) (*mat.Dense, []float64) {
	rows, cols := m.Dims()
	var svd mat.SVD
	svd.Factorize(m, mat.SVDFull)
	var u, v mat.Dense
	svd.UTo(&u)
	svd.VTo(&v)
	values := svd.Values(nil)
	rank := rankOf(values)
	inverse := mat.NewDense(cols, rows, nil)
	for r := range cols {
		for c := range rows {
			sum := 0.0
			for k := range rank {
				sum += v.At(r, k) / values[k] * u.At(c, k)
			}
			inverse.Set(r, c, sum)
		}
	}
	null := make([]float64, cols)
	for r := range cols {
		for k := rank; k < cols; k++ {
			null[r] += v.At(r, k) * v.At(r, k)
		}
	}
	return inverse, null
}
