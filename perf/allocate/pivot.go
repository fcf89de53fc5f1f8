package allocate

import "math"

// leaving picks the basic variable that leaves: position k of the basis, or the key
// of sortie i. above says that it is an excluded option above 0. Of those that break
// their bounds it is the one farthest out measured along the edge it would follow,
// so that a long line of the inverse does not make a small breach look large.
func (s *simplex) leaving() (k, i int, above bool) {
	k, i = -1, -1
	worst := 0.0
	for p, v := range s.x {
		breach := -v
		up := false
		if j := s.basis[p]; int(j) < len(s.cost) && s.off[j] && v > 0 {
			breach, up = v, true
		}
		if breach <= lpZero {
			continue
		}
		if score := float64(breach*breach) / (1 + square(s.inv[p])); score > worst {
			worst, k, above = score, p, up
		}
	}
	for q := range s.key {
		s.value[s.key[q]] = 1
	}
	for p, j := range s.basis {
		if int(j) < len(s.cost) {
			s.value[s.key[s.owner[j]]] -= s.x[p]
		}
	}
	for q, j := range s.key {
		v := s.value[j]
		s.value[j] = 0
		breach := -v
		up := false
		if s.off[j] && v > 0 {
			breach, up = v, true
		}
		if breach <= lpZero {
			continue
		}
		edge := 1.0
		for p, o := range s.basis {
			if int(o) < len(s.cost) && int(s.owner[o]) == q {
				edge += square(s.inv[p])
			}
		}
		if score := float64(breach*breach) / edge; score > worst {
			worst, k, i, above = score, -1, q, up
		}
	}
	return k, i, above
}

func square(a []float64) float64 {
	sum := 0.0
	for _, v := range a {
		if v != 0 {
			sum += float64(v * v)
		}
	}
	return sum
}

// second is the position of the greatest basic option of sortie i beside its key.
func (s *simplex) second(i int) int {
	best := -1
	for k, j := range s.basis {
		if int(j) < len(s.cost) && int(s.owner[j]) == i && (best < 0 || s.x[k] > s.x[best]) {
			best = k
		}
	}
	return best
}

// exchangeKey lets the key of sortie i and the basic option at position k trade
// roles. The old key's line of the tableau is minus the sum of the lines of the
// others, x_key = 1 - sum.
func (s *simplex) exchangeKey(i, k int) {
	line, v := s.inv[k], s.x[k]
	for c := range line {
		line[c] = -line[c]
	}
	for p, j := range s.basis {
		if p == k || int(j) >= len(s.cost) || int(s.owner[j]) != i {
			continue
		}
		v += s.x[p]
		for c, u := range s.inv[p] {
			line[c] -= u
		}
	}
	old, next := s.key[i], s.basis[k]
	s.x[k] = 1 - v
	s.basis[k], s.place[old] = old, int32(k)
	s.key[i], s.place[next] = next, isKey
}

// swapKey replaces an excluded key that is the only basic option of its sortie.
// Its line of the tableau is x_key = 1 - sum of the sortie's other options.
func (s *simplex) swapKey(i int) bool {
	q := int32(-1)
	for _, j := range s.alive[i] {
		if j != s.key[i] && !s.off[j] && (q < 0 || s.d[j] > s.d[q]) {
			q = j
		}
	}
	if q < 0 {
		return false
	}
	old, dq := s.key[i], s.d[q]
	s.key[i], s.place[q], s.place[old] = q, isKey, nonbasic
	for _, j := range s.alive[i] {
		s.d[j] -= dq
	}
	s.z += dq
	s.total++
	s.solveX()
	return true
}

// pivot drives the variable at position k to zero. The entering variable is the
// one whose reduced cost reaches zero first; ties go to the largest pivot. Without
// one the relaxation is infeasible and line k of the inverse is a ray of
// multipliers along which the bound falls without end.
func (s *simplex) pivot(k int, above bool) bool {
	rho := s.inv[k]
	sign := 1.0
	if above {
		sign = -1
	}
	s.price(rho)
	q, best, size := int32(-1), math.Inf(1), 0.0
	try := func(j int32, a, d float64) {
		if a = float64(sign * a); a > -lpPivot {
			return
		}
		ratio := min(d, 0) / a
		if ratio < best-1e-12 || (ratio <= best+1e-12 && -a > size) {
			q, best, size = j, ratio, -a
		}
	}
	for i := range s.key {
		mu := s.alpha[s.key[i]]
		for _, j := range s.alive[i] {
			s.alpha[j] -= mu
			if s.place[j] == nonbasic && !s.off[j] {
				try(j, s.alpha[j], s.d[j])
			}
		}
	}
	n := len(s.cost)
	for r := range s.rows {
		if s.slack[r] == nonbasic {
			try(int32(n+r), rho[r], -s.pi[r])
		}
	}
	if q < 0 {
		for r := range s.ray {
			s.ray[r] = float64(sign * rho[r])
		}
		s.rayGain = math.Abs(s.x[k])
		return false
	}
	s.replace(k, q)
	return true
}

// replace brings q into the basis at position k; alpha holds line k.
func (s *simplex) replace(k int, q int32) {
	n := len(s.cost)
	for p := range s.w {
		s.w[p] = 0
	}
	rho := s.inv[k]
	var aq, dq float64
	if int(q) < n {
		aq, dq = s.alpha[q], min(s.d[q], 0)
		for p := range s.w {
			line := s.inv[p]
			for _, e := range s.cols[q] {
				s.w[p] += float64(line[e.row] * e.coef)
			}
			for _, e := range s.cols[s.key[s.owner[q]]] {
				s.w[p] -= float64(line[e.row] * e.coef)
			}
		}
	} else {
		r := int(q) - n
		aq, dq = rho[r], min(-s.pi[r], 0)
		for p := range s.w {
			s.w[p] = s.inv[p][r]
		}
	}
	step := s.x[k] / aq
	theta := dq / aq
	s.z += float64(dq * step)
	for _, set := range s.alive {
		for _, j := range set {
			if a := s.alpha[j]; a != 0 {
				s.d[j] -= float64(theta * a)
			}
		}
	}
	for r, a := range rho {
		if a != 0 {
			s.pi[r] += float64(theta * a)
		}
	}
	old := s.basis[k]
	if int(old) < n {
		s.place[old], s.d[old] = nonbasic, -theta
	} else {
		s.slack[int(old)-n], s.pi[int(old)-n] = nonbasic, theta
	}
	s.basis[k] = q
	if int(q) < n {
		s.place[q], s.d[q] = int32(k), 0
	} else {
		s.slack[int(q)-n], s.pi[int(q)-n] = int32(k), 0
	}
	for c := range rho {
		rho[c] /= s.w[k]
	}
	for p, v := range s.w {
		if p == k || math.Abs(v) < 1e-13 {
			continue
		}
		s.x[p] -= float64(v * step)
		for c, u := range rho {
			if u != 0 {
				s.inv[p][c] -= float64(v * u)
			}
		}
	}
	s.x[k] = step
	s.pivots++
	s.total++
}
