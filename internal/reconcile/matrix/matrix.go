// Package matrix owns the small matrices of a joint adjustment: factors that show which
// columns the others determine, and the inverse of a matrix times its transpose.
package matrix

import "math"

// Matrices are flat, row by row.

const (
	rankTolerance = 1e-9 // how little of the first column a further one may add and still count
	// untouched is how little of a variable may lie in what the relations leave
	// free for it still to be determined.
	untouched = 1e-3
)

// Finite reports whether every number of a vector is one.
func Finite(x []float64) bool {
	for _, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

// Factors are a matrix as an orthogonal one times an upper triangle, its columns
// in the order of what they add (Householder reflections with column pivoting;
// Golub and Van Loan, Matrix Computations, section 5.4).
type Factors struct {
	rows, columns int
	Rank          int
	a             []float64 // triangle on and above the diagonal, reflections below it
	scale         []float64 // of each reflection
	order         []int     // which column stands where
	Determined    []bool    // per column: the others cannot take over from it
}

// Factorise gives the factors of a, of so many rows and columns, which it overwrites.
func Factorise(a []float64, rows, columns int) Factors {
	f := Factors{rows: rows, columns: columns, a: a, scale: make([]float64, columns), order: make([]int, columns), Determined: make([]bool, columns)}
	for c := range f.order {
		f.order[c] = c
	}
	first := 0.0
	for k := 0; k < min(rows, columns); k++ {
		norm := f.pivot(k)
		if k == 0 {
			first = norm
		}
		if !(norm > rankTolerance*math.Max(first, 1e-300)) {
			break
		}
		f.reflect(k, norm)
		f.Rank++
	}
	f.determine()
	return f
}

// pivot brings the column that adds most to place k and returns its norm there.
func (f *Factors) pivot(k int) float64 {
	best, most := k, -1.0
	for c := k; c < f.columns; c++ {
		sum := 0.0
		for r := k; r < f.rows; r++ {
			sum += f.a[r*f.columns+c] * f.a[r*f.columns+c]
		}
		if sum > most {
			best, most = c, sum
		}
	}
	if best != k {
		for r := range f.rows {
			row := f.a[r*f.columns:]
			row[k], row[best] = row[best], row[k]
		}
		f.order[k], f.order[best] = f.order[best], f.order[k]
	}
	return math.Sqrt(most)
}

// reflect clears column k below the diagonal. The reflection is I - s v vT, with
// v one on the diagonal.
func (f *Factors) reflect(k int, norm float64) {
	n := f.columns
	head := f.a[k*n+k]
	to := -norm
	if head < 0 {
		to = norm
	}
	f.scale[k] = (to - head) / to
	for r := k + 1; r < f.rows; r++ {
		f.a[r*n+k] /= head - to
	}
	f.a[k*n+k] = to
	for c := k + 1; c < n; c++ {
		f.apply(k, f.a, n, c)
	}
}

// apply reflects a column of another matrix.
func (f *Factors) apply(k int, b []float64, columns, c int) {
	n := f.columns
	sum := b[k*columns+c]
	for r := k + 1; r < f.rows; r++ {
		sum += f.a[r*n+k] * b[r*columns+c]
	}
	if sum == 0 {
		return
	}
	sum *= f.scale[k]
	b[k*columns+c] -= sum
	for r := k + 1; r < f.rows; r++ {
		b[r*columns+c] -= f.a[r*n+k] * sum
	}
}

// Turn multiplies a matrix from the left by the orthogonal one, transposed: the
// rows from the rank on are free of the columns of the factorised matrix.
func (f *Factors) Turn(b []float64, columns int) {
	for k := range f.Rank {
		for c := range columns {
			f.apply(k, b, columns, c)
		}
	}
}

// back solves the triangle for a right side, in place.
func (f *Factors) back(x []float64) {
	for k := f.Rank - 1; k >= 0; k-- {
		for c := k + 1; c < f.Rank; c++ {
			x[k] -= f.a[k*f.columns+c] * x[c]
		}
		x[k] /= f.a[k*f.columns+k]
	}
}

// Solve gives the value of each column for a turned right side; it overwrites
// it. Only those of determined columns mean anything.
func (f *Factors) Solve(right []float64) []float64 {
	f.back(right)
	out := make([]float64, f.columns)
	for k, v := range right {
		out[f.order[k]] = v
	}
	return out
}

// Row is how the value of a column hangs on the turned right side.
func (f *Factors) Row(column int) []float64 {
	out := make([]float64, f.Rank)
	for k := range f.Rank {
		if f.order[k] != column {
			continue
		}
		// The row of the inverse of the triangle: solve its transpose for a unit.
		out[k] = 1
		for i := k; i < f.Rank; i++ {
			for j := k; j < i; j++ {
				out[i] -= f.a[j*f.columns+i] * out[j]
			}
			out[i] /= f.a[i*f.columns+i]
		}
	}
	return out
}

// determine tells which columns no combination of the others replaces.
func (f *Factors) determine() {
	for k := range f.Rank {
		f.Determined[f.order[k]] = true
	}
	column := make([]float64, f.Rank)
	for c := f.Rank; c < f.columns; c++ {
		for k := range column {
			column[k] = f.a[k*f.columns+c]
		}
		f.back(column)
		for k, v := range column {
			if math.Abs(v) >= untouched {
				f.Determined[f.order[k]] = false
			}
		}
	}
}

// Cholesky is the triangle of a matrix times its own transpose, of as many rows
// as are independent of each other, the largest first.
type Cholesky struct {
	Rank  int
	l     []float64 // rank rows of rank
	order []int     // which row stands where
}

// CholeskyOf factorises a times its transpose, a having rows of so many columns.
func CholeskyOf(a []float64, rows, columns int) Cholesky {
	g := make([]float64, rows*rows)
	for i := range rows {
		for j := 0; j <= i; j++ {
			sum := 0.0
			for c := range columns {
				sum += a[i*columns+c] * a[j*columns+c]
			}
			g[i*rows+j], g[j*rows+i] = sum, sum
		}
	}
	out := Cholesky{l: g, order: make([]int, rows)}
	for i := range out.order {
		out.order[i] = i
	}
	first := 0.0
	for k := range rows {
		best := k
		for i := k; i < rows; i++ {
			if g[i*rows+i] > g[best*rows+best] {
				best = i
			}
		}
		out.swap(k, best, rows)
		pivot := g[k*rows+k]
		if k == 0 {
			first = pivot
		}
		if !(pivot > rankTolerance*math.Max(first, 1e-300)) {
			break
		}
		out.Rank++
		root := math.Sqrt(pivot)
		g[k*rows+k] = root
		for i := k + 1; i < rows; i++ {
			g[i*rows+k] /= root
		}
		for i := k + 1; i < rows; i++ {
			for j := k + 1; j <= i; j++ {
				g[i*rows+j] -= g[i*rows+k] * g[j*rows+k]
				g[j*rows+i] = g[i*rows+j]
			}
		}
	}
	return out
}

func (c *Cholesky) swap(a, b, rows int) {
	if a == b {
		return
	}
	c.order[a], c.order[b] = c.order[b], c.order[a]
	for j := range rows {
		c.l[a*rows+j], c.l[b*rows+j] = c.l[b*rows+j], c.l[a*rows+j]
	}
	for i := range rows {
		c.l[i*rows+a], c.l[i*rows+b] = c.l[i*rows+b], c.l[i*rows+a]
	}
}

// forward solves the triangle for a right side of all rows.
func (c *Cholesky) forward(right []float64) []float64 {
	rows := len(c.order)
	out := make([]float64, c.Rank)
	for k := range c.Rank {
		out[k] = right[c.order[k]]
		for j := range k {
			out[k] -= c.l[k*rows+j] * out[j]
		}
		out[k] /= c.l[k*rows+k]
	}
	return out
}

// Solve solves the factorised matrix for a right side; rows that depend on
// others get nothing.
func (c *Cholesky) Solve(right []float64) []float64 {
	rows := len(c.order)
	half := c.forward(right)
	out := make([]float64, rows)
	for k := c.Rank - 1; k >= 0; k-- {
		for i := k + 1; i < c.Rank; i++ {
			half[k] -= c.l[i*rows+k] * half[i]
		}
		half[k] /= c.l[k*rows+k]
		out[c.order[k]] = half[k]
	}
	return out
}

// Weight is a vector times the inverse of the factorised matrix times the vector.
func (c *Cholesky) Weight(v []float64) float64 {
	sum := 0.0
	for _, x := range c.forward(v) {
		sum += x * x
	}
	return sum
}
