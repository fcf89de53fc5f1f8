package allocate

import "math"

// perturbed is the cost that the relaxation sees: the level's own, raised by less
// than a third of one unit in all. The raise prefers what later levels want and
// tells equal options apart, which keeps the simplex method from idling. Bounds
// are computed with the true cost. Every attempt tells options apart differently.
func perturbed(m *model, k int, cost []int64, attempt int) []float64 {
	out := make([]float64, len(cost))
	share := 0.3 / float64(len(m.first))
	weight := make([]float64, len(m.levels))
	low := make([]int64, len(m.levels))
	left := 1.0
	for l := k + 1; l < len(m.levels); l++ {
		high := int64(math.MinInt64)
		low[l] = math.MaxInt64
		for _, v := range m.levels[l] {
			low[l], high = min(low[l], v), max(high, v)
		}
		if high > low[l] {
			weight[l] = float64(0.7*left) / float64(high-low[l])
			left *= 0.3
		}
	}
	mix := 2463534242 + uint32(attempt)*2654435769
	for j, c := range cost {
		mix ^= mix << 13
		mix ^= mix >> 17
		mix ^= mix << 5
		nudge := float64(left * float64(mix) / (1 << 32))
		for l := k + 1; l < len(m.levels); l++ {
			nudge += float64(weight[l] * float64(m.levels[l][j]-low[l]))
		}
		out[j] = float64(c) + float64(share*nudge)
	}
	return out
}

// relax solves the relaxation, adding crew windows and roundings of rows that its
// solution breaks, and returns multipliers with their bound.
func (s *search) relax() ([]int64, int64, lpOutcome) {
	cutoff := float64(s.bestVal+1) - 1e-5
	for round := 0; ; round++ {
		out := s.lp.solve(cutoff)
		lambda := s.exact.round(s.lp.rows, s.lp.pi)
		scaled := s.exact.bound(s.lp.rows, s.lp.lines, lambda, s.off)
		if out == lpInfeasible && s.exact.value(scaled) > s.bestVal {
			// Walk along the ray until the bound has fallen to the incumbent.
			pi := append([]float64(nil), s.lp.pi...)
			far := (s.lp.z - float64(s.bestVal) + 2) / max(s.lp.rayGain, 1e-9)
			for r, v := range s.lp.ray {
				pi[r] += float64(far * max(v, 0))
			}
			lambda = s.exact.round(s.lp.rows, pi)
			scaled = s.exact.bound(s.lp.rows, s.lp.lines, lambda, s.off)
		}
		bound := s.exact.value(scaled)
		if out != lpOptimal || bound <= s.bestVal || round >= 60 {
			return lambda, bound, out
		}
		if s.separate() {
			continue
		}
		if most := s.cutsWanted(round); most > 0 && s.cuts(most) > 0 {
			continue
		}
		return lambda, bound, out
	}
}

// phases are the most rounds of cutting planes in each phase of the root. Between
// phases options that are excluded drop out for good, which makes the next cheaper.
var phases = [...]int{0, 6, 50}

// cutsWanted is how many cutting planes to add in a round: many at the root, a few
// below while the relaxation is still small.
func (s *search) cutsWanted(round int) int {
	switch {
	case s.root && round < phases[s.phase]:
		return 20
	case s.below && round < 3 && len(s.lp.rows) < 2*s.settled+50:
		return 6
	}
	return 0
}

// separate adds rows that the solution of the relaxation breaks.
func (s *search) separate() bool {
	x := s.lp.solution()
	found := s.m.crowded(x, s.step, 1e-6)
	for _, b := range found {
		s.add(s.m.window(b.site, b.a, b.b))
	}
	return len(found) > 0
}

// exclude drops options that cannot be part of anything better than the incumbent,
// by the figures of the last bound.
func (s *search) exclude() {
	slack := s.exact.last - (s.bestVal+1)<<s.exact.shift
	if s.exact.last == nothing {
		return
	}
	for i := range s.exact.top {
		for j := s.m.first[i]; j < s.m.first[i+1]; j++ {
			if !s.off[j] && s.exact.gap(i, j) > slack {
				s.off[j] = true
				s.trail = append(s.trail, j)
			}
		}
	}
}
