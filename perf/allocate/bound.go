package allocate

import (
	"math"
	"math/bits"
)

// A bounder computes proven bounds in integers. For multipliers lambda >= 0 of the
// rows, every feasible choice x (one option of each sortie) has
//
//	c*x <= c*x + lambda*(b - A*x) = lambda*b + sum over sorties of (c_j - lambda*a_j) of its option
//	    <= lambda*b + sum over sorties of the greatest c_j - lambda*a_j,            (1)
//
// the Lagrangian bound. It holds for any lambda, so lambda may come from anywhere;
// the dual simplex gives the one that makes (1) least, the bound of the linear
// relaxation. Multipliers are whole multiples of 1/scale, so that (1) times scale
// is an integer and is computed without rounding.
//
// Taking option j of sortie i instead of its best one lowers (1) by
//
//	greatest of sortie i - (c_j - lambda*a_j);                                      (2)
//
// where that brings the bound down to the incumbent, j cannot be part of anything
// better and leaves the search.
type bounder struct {
	first []int32
	cost  []int64
	shift uint // scale is 1 << shift
	v     []int64
	top   []int64 // greatest v of each sortie
	last  int64   // the last bound, times scale
}

func newBounder(first []int32, cost []int64) *bounder {
	b := &bounder{first: first, cost: cost, v: make([]int64, len(cost)), top: make([]int64, len(first)-1)}
	worst := int64(1)
	for _, c := range cost {
		worst = max(worst, c, -c)
	}
	used := bits.Len64(uint64(worst)) + bits.Len(uint(len(first)))
	b.shift = uint(min(20, max(0, 56-used)))
	return b
}

// reach is the most that one multiple of a row can add to (1), in size.
func (b *bounder) reach(r *row) float64 {
	coef := int64(0)
	for _, c := range r.coef {
		coef = max(coef, c, -c)
	}
	return math.Abs(float64(r.rhs)) + float64(float64(coef)*float64(len(b.first)))
}

// round makes whole multipliers of floating-point ones. They are so held back that
// no sum in bound can overflow.
func (b *bounder) round(rows []*row, pi []float64) []int64 {
	const most = 1 << 60
	lambda := make([]int64, len(pi))
	scale := float64(int64(1) << b.shift)
	size := 0.0
	for r, v := range pi {
		if v > 0 {
			size += float64(float64(v*scale) * b.reach(rows[r]))
		}
	}
	for r, v := range pi {
		v = float64(v * scale)
		if size > most {
			v = min(v, most/b.reach(rows[r])/float64(len(rows)))
		}
		if v > 0.5 {
			lambda[r] = int64(math.Round(v))
		}
	}
	return lambda
}

const nothing = math.MinInt64 // the bound of an empty set

// bound computes (1) times scale over the options that are not excluded; nothing
// when a sortie has none left. v and top are kept for gap.
func (b *bounder) bound(rows []*row, lines []line, lambda []int64, off []bool) int64 {
	for j, c := range b.cost {
		b.v[j] = c << b.shift
	}
	sum := int64(0)
	for r, l := range lambda {
		if l == 0 {
			continue
		}
		sum += l * rows[r].rhs
		for k, j := range lines[r].idx {
			b.v[j] -= l * lines[r].coef[k]
		}
	}
	empty := false
	for i := range b.top {
		b.top[i] = nothing
		for j := b.first[i]; j < b.first[i+1]; j++ {
			if !off[j] && b.v[j] > b.top[i] {
				b.top[i] = b.v[j]
			}
		}
		if b.top[i] == nothing {
			empty = true
			continue
		}
		sum += b.top[i]
	}
	if empty {
		sum = nothing
	}
	b.last = sum
	return sum
}

// value is the greatest whole objective that a scaled bound allows.
func (b *bounder) value(scaled int64) int64 {
	if scaled == nothing {
		return nothing
	}
	return scaled >> b.shift
}

// gap is (2) for option j of sortie i, after bound.
func (b *bounder) gap(i int, j int32) int64 { return b.top[i] - b.v[j] }
