package calibrate

import "math"

// The few unknowns of a fit need no library of linear algebra, and one would sum
// in an order that depends on the processor.

// matrix is a square matrix, row by row.
type matrix [][]float64

func newMatrix(n int) matrix {
	values := make([]float64, n*n)
	m := make(matrix, n)
	for i := range m {
		m[i] = values[i*n : (i+1)*n : (i+1)*n]
	}
	return m
}

// factor is the lower triangle L of L L' = m (Cholesky), of which only the lower
// triangle is read; ok is false where m is not positive definite, and
// numbers of L are NaN or infinite.
func (m matrix) factor() (lower matrix, ok bool) {
	lower, ok = newMatrix(len(m)), true
	for i := range m {
		for j := range i + 1 {
			sum := m[i][j] - dot(lower[i][:j], lower[j][:j])
			if j < i {
				lower[i][j] = sum / lower[j][j]
				continue
			}
			lower[i][i] = math.Sqrt(sum)
			ok = ok && sum > 0
		}
	}
	return lower, ok
}

// forward solves L x = v.
func (lower matrix) forward(v []float64) []float64 {
	x := make([]float64, len(v))
	for i := range v {
		x[i] = (v[i] - dot(lower[i][:i], x[:i])) / lower[i][i]
	}
	return x
}

// solve solves L L' x = v.
func (lower matrix) solve(v []float64) []float64 {
	x := lower.forward(v)
	for i := len(x) - 1; i >= 0; i-- {
		for k := i + 1; k < len(x); k++ {
			x[i] -= float64(lower[k][i] * x[k])
		}
		x[i] /= lower[i][i]
	}
	return x
}

// inverse is that of L L', symmetric to the bit.
func (lower matrix) inverse() matrix {
	out := newMatrix(len(lower))
	unit := make([]float64, len(lower))
	for j := range lower {
		unit[j] = 1
		for i, v := range lower.solve(unit)[:j+1] {
			out[i][j], out[j][i] = v, v
		}
		unit[j] = 0
	}
	return out
}

func dot(a, b []float64) (sum float64) {
	for i := range a {
		sum += float64(a[i] * b[i])
	}
	return sum
}
