package chance

import "math"

// shares works out mean, deviation and the first-order share of each source
// among the draws that lift off. The share of a column is the variance of the
// means of its bins over the variance of the run, freed from what chance alone
// would give; that of a source with several columns is their sum.
func (r *Result) shares(c *Case, table []column, runs []float64) {
	var count, sum float64
	for _, run := range runs {
		if !math.IsInf(run, 1) {
			count++
			sum += run
		}
	}
	r.NoLiftoff = len(runs) - int(count)
	if count == 0 {
		r.MeanM = math.Inf(1)
		return
	}
	r.MeanM = sum / count
	var variation float64
	for _, run := range runs {
		if !math.IsInf(run, 1) {
			variation += float64((run - r.MeanM) * (run - r.MeanM))
		}
	}
	r.SigmaM = math.Sqrt(variation / max(1, count-1))
	if variation <= 1e-18*sum*sum {
		return
	}
	var shares [sourceCount]float64
	lots := c.lots()
	rest := 1.0
	for j := range table {
		if c.sigma(j) == 0 {
			continue
		}
		s := source(j, lots)
		part := explained(table[j], runs, r.MeanM, variation, c.dudBins(j, s))
		shares[s] += part
		rest -= part
	}
	// A small sample may explain a little more than there is.
	total := max(1, 1-rest)
	for s, share := range shares {
		if share > 0 {
			r.Shares = append(r.Shares, Share{Source: Source(s), Share: share / total})
		}
	}
	r.Unassigned = max(0, rest)
}

// dudBins is the probability below which a column means a dud, 0 for a column
// of another kind.
func (c *Case) dudBins(j int, s Source) float64 {
	if s != Dud {
		return 0
	}
	return c.Dispersions.unit(c.Units[(j-unitColumn(c.lots(), 0))/unitColumns].Type).dud
}

// explained is the part of the variation that one column explains alone. dud is
// the probability of a dud where the column draws duds: it has two bins then.
func explained(col column, runs []float64, mean, variation, dud float64) float64 {
	var counts, sums [bins]float64
	for i, run := range runs {
		if math.IsInf(run, 1) {
			continue
		}
		b := col.bins[i]
		if dud > 0 {
			b = 0
			if below(col.scores[i]) < dud {
				b = 1
			}
		}
		counts[b]++
		sums[b] += run - mean
	}
	var between, n, used float64
	for b := range counts {
		if counts[b] > 0 {
			between += sums[b] * sums[b] / counts[b]
			n += counts[b]
			used++
		}
	}
	if n <= used {
		return 0
	}
	// As in the adjusted coefficient of determination.
	return max(0, 1-(1-between/variation)*(n-1)/(n-used))
}
