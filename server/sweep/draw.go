package sweep

import (
	"math"

	"bowroll/perf/elementary"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// The samplers of the libraries fill a whole matrix at once. A row of a sweep
// must come from its index alone, in any order on any host, so the draws here
// are hashes of seed, axis and row, and the strata of the Latin hypercube a
// permutation that is computed one element at a time.

// mix is the finalizer of SplitMix64 (Steele, Lea and Flood, 2014; constants from
// memory), a bijection of 64-bit words whose outputs pass for random.
func mix(z uint64) uint64 {
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

const golden = 0x9e3779b97f4a7c15 // steps of a SplitMix64 sequence

// hash is a word for a row of an axis.
func (p *Plan) hash(axis, row int) uint64 {
	return mix(mix(mix(p.seed+golden)+uint64(axis+1)*golden) + uint64(row+1)*golden)
}

// draw is a number from 0 to below 1 for an axis in a row.
func (p *Plan) draw(axis, row int) float64 {
	u := float64(float64(p.hash(axis, row)>>11) / (1 << 53))
	if !p.latin {
		return u
	}
	stratum := shuffled(uint64(row), uint64(p.Rows), mix(p.seed^mix(uint64(axis+1)*golden)))
	return min((float64(stratum)+u)/float64(p.Rows), 1-1.0/(1<<53))
}

// shuffled is the place of i in a permutation of 0 to n-1: a Feistel network of
// four rounds over the least even number of bits that holds n, walked until it
// is inside.
func shuffled(i, n, key uint64) uint64 {
	half := uint(1)
	for uint64(1)<<(2*half) < n {
		half++
	}
	mask := uint64(1)<<half - 1
	for {
		left, right := i>>half, i&mask
		for round := range uint64(4) {
			left, right = right, left^(mix(key+round*golden+right)&mask)
		}
		if i = left<<half | right; i < n {
			return i
		}
	}
}

// quantile is where a distribution has u below it.
func quantile(d *bowrollv1.SweepDistribution, u float64) float64 {
	least, greatest := d.GetLeastValue(), d.GetGreatestValue()
	var v float64
	switch d.GetShape() {
	case bowrollv1.SweepShape_SWEEP_SHAPE_NORMAL:
		middle, sigma := d.GetMiddleValue(), d.GetSigma()
		low, high := elementary.NormalBelow((least-middle)/sigma), elementary.NormalBelow((greatest-middle)/sigma)
		v = middle + float64(sigma*elementary.NormalQuantile(low+float64(u*(high-low))))
	case bowrollv1.SweepShape_SWEEP_SHAPE_TRIANGULAR:
		middle, width := d.GetMiddleValue(), greatest-least
		if float64(u*width) < middle-least {
			v = least + math.Sqrt(u*width*(middle-least))
		} else {
			v = greatest - math.Sqrt((1-u)*width*(greatest-middle))
		}
	default:
		v = least + float64(u*(greatest-least))
	}
	return min(max(v, least), greatest)
}
