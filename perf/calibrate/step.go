package calibrate

import "math"

// improve makes one reweighted Gauss-Newton step of x over the runs that use
// chooses, leaving scale and inverse with it, and returns the greatest change.
func (f *fitter) improve(use func(int) bool, x []float64, says func(int, []float64) measures) float64 {
	n := len(x)
	normal := newMatrix(n)
	known := newMatrix(n) // what the runs say, as intervals count it
	right := make([]float64, n)
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
		weighted += float64(w * square)
		total += len(res)
		rows := make([][]float64, len(d.columns))
		for a, c := range d.columns {
			rows[a] = d.white(d.jac[f.columns[c].part])
			right[c] += float64(w * dot(rows[a], res))
			for b := range a + 1 {
				at, to := min(d.columns[b], c), max(d.columns[b], c)
				product := float64(w * dot(rows[a], rows[b]))
				normal[to][at] += product
				known[to][at] += float64(share * product)
			}
		}
	}
	// What the runs say is divided by the scatter; what was believed is not.
	precision := 1 / (f.scale * f.scale)
	effective := 0.0
	lower := f.believed(normal, precision)
	for a := range n {
		right[a] = float64(precision*right[a]) - x[a]/(f.columns[a].prior*f.columns[a].prior)
	}
	by := lower.solve(right)
	largest := 0.0
	for a := range n {
		// The model is smooth over a prior or two; farther steps are cut.
		change := clamp(by[a], 2*f.columns[a].prior)
		x[a] += change
		largest = max(largest, math.Abs(change))
	}
	inverse := lower.inverse()
	for a := range n {
		for b := range n {
			effective += float64(precision * inverse[a][b] * normal[max(a, b)][min(a, b)])
		}
	}
	f.inverse = f.believed(known, precision).inverse() // what the unknowns are good to
	f.scale = math.Sqrt((weighted + scaleBelief) / (math.Max(1, float64(total)-effective) + scaleBelief))
	return largest
}

// believed factors the information of the runs, divided by the scatter, with that
// of the priors, which makes it positive definite.
func (f *fitter) believed(information matrix, precision float64) (lower matrix) {
	full := newMatrix(len(f.columns))
	for a := range full {
		for b := range a + 1 {
			full[a][b] = float64(precision * information[a][b])
		}
		full[a][a] += 1 / (f.columns[a].prior * f.columns[a].prior)
	}
	lower, _ = full.factor()
	return lower
}

func clamp(v, most float64) float64 { return max(-most, min(most, v)) }
