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
	known := mat.NewSymDense(max(n, 1), nil) // what the runs say, as intervals count it
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
		// The information of a t distribution beside that of the weights, which are
		// one on average (Lange, Little and Taylor, appendix B).
		share := (Freedom + p) / (Freedom + p + 2)
		weighted += w * square
		total += len(res)
		rows := make([][]float64, len(d.columns))
		for a, c := range d.columns {
			rows[a] = d.white(d.jac[f.columns[c].part])
			right[c] += w * dot(rows[a], res)
			for b := range a + 1 {
				at, to := min(d.columns[b], c), max(d.columns[b], c)
				product := w * dot(rows[a], rows[b])
				normal.SetSym(at, to, normal.At(at, to)+product)
				known.SetSym(at, to, known.At(at, to)+share*product)
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
	inverse := mat.NewSymDense(max(n, 1), nil)
	_ = chol.InverseTo(inverse)
	for a := range n {
		for b := range n {
			effective += precision * inverse.At(a, b) * normal.At(a, b)
		}
	}
	f.covariance(known, precision)
	f.scale = math.Sqrt((weighted + scaleBelief) / (math.Max(1, float64(total)-effective) + scaleBelief))
	return largest
}

// covariance takes over what the unknowns are good to.
func (f *fitter) covariance(known *mat.SymDense, precision float64) {
	n := len(f.x)
	full := mat.NewSymDense(max(n, 1), nil)
	full.SetSym(0, 0, 1)
	for a := range n {
		for b := a; b < n; b++ {
			full.SetSym(a, b, precision*known.At(a, b))
		}
		full.SetSym(a, a, full.At(a, a)+1/(f.columns[a].prior*f.columns[a].prior))
	}
	var chol mat.Cholesky
	chol.Factorize(full)
	f.inverse = mat.NewSymDense(max(n, 1), nil)
	_ = chol.InverseTo(f.inverse)
}

func dot(a, b []float64) (sum float64) {
	for i := range a {
		sum += float64(a[i] * b[i])
	}
	return sum
}

func clamp(v, most float64) float64 { return max(-most, min(most, v)) }
