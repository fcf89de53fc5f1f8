package calibrate

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// improve makes one reweighted Gauss-Newton step of x over the runs that use
// chooses, leaving scale and inverse with it, and returns the greatest change.
func (f *fitter) improve(use func(int) bool, x []float64, says func(int, []float64) measures) float64 {
	n := len(x)
	normal := mat.NewSymDense(max(n, 1), nil)
	right := make([]float64, max(n, 1))
	var weighted float64
	total := 0
	for i := range f.data {
		if !use(i) {
			continue
		}
		d := &f.data[i]
		v := says(i, x)
		var off measures
		for k := range off {
			off[k] = d.y[k] - v[k]
		}
		res := d.white(off)
		square := dot(res, res)
		p := float64(len(res))
		w := (Freedom + p) / (Freedom + square/(f.scale*f.scale))
		weighted += w * square
		total += len(res)
		rows := make([][]float64, len(d.columns))
		for a, c := range d.columns {
			rows[a] = d.white(d.jac[f.columns[c].part])
			right[c] += w * dot(rows[a], res)
			for b := range a + 1 {
				at, to := min(d.columns[b], c), max(d.columns[b], c)
				normal.SetSym(at, to, normal.At(at, to)+w*dot(rows[a], rows[b]))
			}
		}
	}
	// What the runs say is divided by the scatter; what was believed is not.
	precision := 1 / (f.scale * f.scale)
	effective := 0.0
	full := mat.NewSymDense(max(n, 1), nil)
	full.SetSym(0, 0, 1)
	for a := range n {
		for b := a; b < n; b++ {
			full.SetSym(a, b, precision*normal.At(a, b))
		}
		full.SetSym(a, a, full.At(a, a)+1/(f.columns[a].prior*f.columns[a].prior))
		right[a] = precision*right[a] - x[a]/(f.columns[a].prior*f.columns[a].prior)
	}
	var chol mat.Cholesky
	chol.Factorize(full) // the priors make it positive definite
	var by mat.VecDense
	_ = chol.SolveVecTo(&by, mat.NewVecDense(len(right), right))
	largest := 0.0
	for a := range n {
		// The model is smooth over a prior or two; farther steps are cut.
		change := clamp(by.AtVec(a), 2*f.columns[a].prior)
		x[a] += change
		largest = max(largest, math.Abs(change))
	}
	f.inverse = mat.NewSymDense(max(n, 1), nil)
	_ = chol.InverseTo(f.inverse)
	for a := range n {
		for b := range n {
			effective += precision * f.inverse.At(a, b) * normal.At(a, b)
		}
	}
	f.scale = math.Sqrt((weighted + scaleBelief) / (math.Max(1, float64(total)-effective) + scaleBelief))
	return largest
}

func dot(a, b []float64) (sum float64) {
	for i := range a {
		sum += float64(a[i] * b[i])
	}
	return sum
}

func clamp(v, most float64) float64 { return max(-most, min(most, v)) }
