package calibrate

// heldOut predicts every run from fits that did not see it: the runs are dealt
// into folds in turn, and each fold is predicted from the others. The folds are
// fitted with the sensitivities of the whole fit; what they predict is linear
// around it, which over the width of a prior is within the scatter.
func (f *fitter) heldOut() Error {
	fold := make([]int, len(f.data))
	next := 0
	for i := range f.data {
		fold[i] = -1
		if f.used(i) {
			fold[i] = next % f.settings.Folds
			next++
		}
	}
	if next < 2 {
		return Error{}
	}
	whole := append([]float64(nil), f.x...)
	scale, inverse := f.scale, f.inverse
	linear := func(i int, x []float64) measures {
		d := &f.data[i]
		says := d.says
		for _, c := range d.columns {
			for k := range says {
				says[k] += float64(d.jac[f.columns[c].part][k] * (x[c] - whole[c]))
			}
		}
		return says
	}
	var sum errorSum
	for out := range f.settings.Folds {
		x := make([]float64, len(whole))
		f.scale = scale
		for range mostSteps {
			if f.improve(func(i int) bool { return fold[i] >= 0 && fold[i] != out }, x, linear) < stepDone {
				break
			}
		}
		for i := range f.data {
			if fold[i] == out {
				sum.add(&f.data[i], linear(i, x))
			}
		}
	}
	f.scale, f.inverse = scale, inverse
	return sum.mean()
}
