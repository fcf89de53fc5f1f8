package allocate

import (
	"math"
	"slices"
	"sort"
)

// A blend is how a cutting plane comes from other rows. With integers k_r >= 0 for
// rows (slack s_r = b_r - a_r*x, a whole number >= 0) and n_i for sorties (whose
// options sum to one), every choice x keeps the equation
//
//	sum A_j*x_j + sum k_r*s_r = B,   A_j = sum k_r*a_rj + n_i,   B = sum k_r*b_r + sum n_i,
//
// in whole numbers x, s >= 0. Divide by D and round: with f = B mod D > 0 and
// F(v) = (D-f)*floor(v/D) + max(0, v mod D - f) (mixed integer rounding, times D-f),
//
//	sum F(A_j)*x_j + sum F(k_r)*s_r <= (D-f)*floor(B/D).
//
// Putting s_r back in gives a row over x alone. Taken from a line of the simplex
// tableau whose basic variable is fractional, the relaxation's solution breaks it.
type blend struct {
	rows  []int   // ids
	k     []int64 // of rows, from 0 to den-1
	den   int64
	shift []int64 // n_i of each sortie
}

const (
	mostDen  = 4000    // greatest denominator D looked for
	mostCoef = 100_000 // greatest coefficient of a cut, and of a row that is blended
	mostRHS  = 100_000_000
)

// blended computes the row that a blend stands for; ok is false if it says nothing.
func (m *model) blended(pool []*row, b *blend) (row, bool) {
	n := len(m.opts)
	sum := make([]int64, n)
	add := make([]int64, n)
	rhs, back := int64(0), int64(0)
	level := -1
	for _, s := range b.shift {
		rhs += s
	}
	for c, id := range b.rows {
		rhs += b.k[c] * pool[id].rhs
	}
	f := rhs - floorDiv(rhs, b.den)*b.den
	if f == 0 {
		return row{}, false
	}
	for c, id := range b.rows {
		r := pool[id]
		level = max(level, r.level)
		e := max(0, b.k[c]-f)
		back += e * r.rhs
		for x, j := range r.idx {
			sum[j] += b.k[c] * r.coef[x]
			add[j] += e * r.coef[x]
		}
	}
	out := row{base: base{kind: baseBlend}, blend: b, level: level, rhs: (b.den-f)*floorDiv(rhs, b.den) - back}
	coef := add
	for i, s := range b.shift {
		low := int64(math.MaxInt64)
		for j := m.first[i]; j < m.first[i+1]; j++ {
			v := sum[j] + s
			q := floorDiv(v, b.den)
			coef[j] = (b.den-f)*q + max(0, v-q*b.den-f) - add[j]
			low = min(low, coef[j])
		}
		// Every sortie takes one option: what all of them cost is paid at once.
		out.rhs -= low
		for j := m.first[i]; j < m.first[i+1]; j++ {
			if c := coef[j] - low; c != 0 {
				out.idx = append(out.idx, j)
				out.coef = append(out.coef, c)
			}
		}
	}
	g := int64(0)
	for _, c := range out.coef {
		g = gcd(g, c)
	}
	if g == 0 {
		return row{}, false
	}
	for c := range out.coef {
		if out.coef[c] /= g; out.coef[c] > mostCoef {
			return row{}, false
		}
	}
	out.rhs = floorDiv(out.rhs, g)
	return out, true
}

// cuts adds the best few cutting planes that the tableau offers, and returns how
// many.
func (s *search) cuts(most int) int {
	x := slices.Clone(s.lp.solution())
	type cut struct {
		row   row
		score float64
	}
	var found []cut
	try := func(rho []float64) {
		for _, b := range s.blends(rho) {
			r, ok := s.m.blended(*s.pool, &b)
			if !ok {
				continue
			}
			over, norm := -float64(r.rhs), 0.0
			for c, j := range r.idx {
				over += float64(float64(r.coef[c]) * x[j])
				norm += float64(float64(r.coef[c]) * float64(r.coef[c]))
			}
			if over > 1e-4 {
				score := over / math.Sqrt(norm)
				found = append(found, cut{r, score})
			}
		}
	}
	whole := func(v float64) bool { return math.Abs(v-math.Round(v)) < 1e-5 }
	line := make([]float64, len(s.lp.rows))
	for k := range s.lp.basis {
		if !whole(s.lp.x[k]) {
			try(s.lp.inv[k])
		}
	}
	for i, key := range s.lp.key {
		if whole(x[key]) {
			continue
		}
		clear(line)
		for k, j := range s.lp.basis {
			if int(j) < len(s.cost) && int(s.m.owner[j]) == i {
				for c, v := range s.lp.inv[k] {
					line[c] -= v
				}
			}
		}
		try(line)
	}
	sort.SliceStable(found, func(a, b int) bool { return found[a].score > found[b].score })
	added := 0
	for c := range found {
		if added == most || found[c].score < 0.3*found[0].score {
			break
		}
		if !s.known(&found[c].row) {
			s.add(found[c].row)
			added++
		}
	}
	return added
}

// heavy says that blending the row could overflow.
func (r *row) heavy() bool {
	if r.rhs > mostRHS || r.rhs < -mostRHS {
		return true
	}
	for _, c := range r.coef {
		if c > mostCoef || c < -mostCoef {
			return true
		}
	}
	return false
}

// known says that the relaxation has the row already.
func (s *search) known(r *row) bool {
	for _, o := range s.lp.rows {
		if o.rhs == r.rhs && slices.Equal(o.idx, r.idx) && slices.Equal(o.coef, r.coef) {
			return true
		}
	}
	return false
}

// blends makes whole multipliers of a line of the inverse: its fractional parts
// over a common denominator, and those of the negated line.
func (s *search) blends(rho []float64) []blend {
	den := int64(0)
	for d := int64(2); d <= mostDen && den == 0; d++ {
		den = d
		for _, v := range rho {
			if v = float64(v * float64(d)); math.Abs(v-math.Round(v)) > 1e-6 {
				den = 0
				break
			}
		}
	}
	if den == 0 {
		return nil
	}
	var out []blend
	for _, times := range []int64{1, -1} {
		b := blend{den: den, shift: make([]int64, len(s.lp.key))}
		for r, v := range rho {
			k := times * int64(math.Round(float64(v*float64(den))))
			if k -= floorDiv(k, den) * den; k == 0 {
				continue
			}
			if s.lp.rows[r].heavy() {
				return nil
			}
			b.rows = append(b.rows, s.lp.rows[r].id)
			b.k = append(b.k, k)
			for c, j := range s.lp.rows[r].idx {
				if i := s.m.owner[j]; s.lp.key[i] == j {
					b.shift[i] -= k * s.lp.rows[r].coef[c]
				}
			}
		}
		if len(b.rows) > 0 {
			out = append(out, b)
		}
	}
	return out
}

// purge drops cutting planes and crew windows that the relaxation does not need
// any more (their slacks are in the basis).
func (s *search) purge() {
	for r := len(s.lp.rows) - 1; r >= 0; r-- {
		if k := s.lp.rows[r].base.kind; (k == baseBlend || k == baseCrews) && s.lp.slack[r] != nonbasic && s.lp.x[s.lp.slack[r]] > 1e-6 {
			s.lp.dropRow(r)
		}
	}
}
