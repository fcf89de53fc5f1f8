package allocate

import "math"

// ties looks, sortie by sortie in launch order, for an equally good choice that
// agrees with the answer so far and prefers another option here; the first found
// becomes the answer and the look goes on from there. Options are listed in order
// of preference, so at the end no choice of equal value comes before the answer.
//
// One search serves them all: its level is the last, its incumbent pretends to be
// one unit short of the value, and it stops at the first choice that reaches it.
func (s *solver) ties() bool {
	last := len(s.m.levels) - 1
	w := newSearch(s.m, last, 0, &s.pool, s.active[:len(s.active)-1], s.limits)
	value := s.values[last] / w.unit
	w.bestVal, w.enough = value-1, value
	w.lp.cost = s.leaning(w.cost)
	w.lp.crash()
	lambda, _, _ := w.relax()
	w.exclude()
	s.proof.TieCut, s.proof.TieShift = w.sparse(lambda), w.exact.shift
	if s.limits.progress != nil {
		s.limits.progress(Progress{Level: "ties", Nodes: s.limits.nodes})
	}
	// Each search starts where the relaxation has settled on what is fixed so far.
	settle := func() *snapshot {
		w.lp.solve(math.Inf(-1))
		return w.lp.save()
	}
	home := settle()
	for i := range s.choice {
		from, to := s.m.first[i], s.m.first[i+1]
		searched := false
		for {
			var preferred []int32
			for j := from; j < s.choice[i]; j++ {
				if !w.off[j] {
					preferred = append(preferred, j)
				}
			}
			if preferred == nil {
				break
			}
			searched = true
			w.best, w.bestVal, w.done, w.cut = nil, value-1, false, false
			w.tree = Tree{Shift: w.exact.shift}
			mark := len(w.trail)
			for j := s.choice[i]; j < to; j++ {
				if !w.off[j] {
					w.ban([]int32{j})
				}
			}
			w.visit(nil, math.MaxInt64)
			none := !w.cut && !w.done
			w.undo(mark)
			w.lp.restore(home)
			if w.best == nil {
				if !none {
					return false
				}
				s.proof.Ties = append(s.proof.Ties, TieProof{Sortie: i, Tree: w.tree})
				break
			}
			copy(s.choice, w.best)
		}
		for j := from; j < to; j++ {
			if j != s.choice[i] && !w.off[j] {
				w.ban([]int32{j})
			}
		}
		if searched {
			home = settle()
		}
	}
	return true
}

// leaning is the cost of the last level, raised by less than a third of one unit in
// all for options that are preferred, the more the earlier the sortie. The first
// choice found is then close to the one that wins the ties.
func (s *solver) leaning(cost []int64) []float64 {
	out := make([]float64, len(cost))
	weight := 0.3
	for i := range s.choice {
		from, to := s.m.first[i], s.m.first[i+1]
		weight = float64(weight * 0.97)
		for j := from; j < to; j++ {
			share := float64(to-j) / float64(to-from)
			out[j] = float64(cost[j]) + float64(float64(weight*0.03)*share)
		}
	}
	return out
}
