package allocate

import "sort"

// greedy improves a choice that takes nothing from anyone: sorties by priority,
// each with the launch that wants the fewest units and keeps every constraint with
// those before it. It is a first incumbent, for queues so long that the limit may
// come before the first relaxation is solved.
func (s *search) greedy(start []int32) []int32 {
	choice := append([]int32(nil), start...)
	left := make([]int64, len(s.lp.rows))
	for r, w := range s.lp.rows {
		left[r] = w.rhs
	}
	take := func(j int32, sign float64) bool {
		ok := true
		for _, e := range s.lp.cols[j] {
			left[e.row] -= int64(sign * e.coef)
			ok = ok && left[e.row] >= 0
		}
		return ok
	}
	for _, j := range choice {
		take(j, 1)
	}
	order := make([]int, len(choice))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool { return s.gain(order[a]) > s.gain(order[b]) })
	for _, i := range order {
		held := choice[i]
		if s.m.opts[held].fit != Held {
			continue
		}
		crowded := int64(0) // least number of units that crews cannot fit
		var set []int32
		for j := s.m.first[i]; j < s.m.first[i+1]; j++ {
			if s.m.opts[j].fit != Held {
				set = append(set, j)
			}
		}
		sort.SliceStable(set, func(a, b int) bool { return s.m.opts[set[a]].units < s.m.opts[set[b]].units })
		for _, j := range set {
			if n := s.m.opts[j].units; crowded > 0 && n >= crowded {
				break
			}
			take(held, -1)
			choice[i] = j
			if take(j, 1) {
				if s.m.crewsKept(choice) {
					break
				}
				crowded = s.m.opts[j].units
			}
			take(j, -1)
			take(held, 1)
			choice[i] = held
		}
	}
	return choice
}

// gain is the most that a sortie can add to the level.
func (s *search) gain(i int) int64 {
	most := int64(0)
	for j := s.m.first[i]; j < s.m.first[i+1]; j++ {
		most = max(most, s.cost[j])
	}
	return most
}
