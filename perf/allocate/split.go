package allocate

import "slices"

// split picks the sortie to branch on and the options that go left, or -1 when
// every sortie is down to one. x is the solution of the relaxation.
//
// Sorties torn between being held and launched come first (the objective hangs on
// them most), the most undecided of them; then those torn between options.
// The side with the greater share of x is searched first.
func (s *search) split(x []float64) (int, []int32) {
	pick, worth := -1, 0.0
	for i := range s.m.p.Sorties {
		from, to := s.m.first[i], s.m.first[i+1]
		free, top, held := 0, 0.0, 0.0
		for j := from; j < to; j++ {
			if s.off[j] {
				continue
			}
			free++
			top = max(top, x[j])
			if s.m.opts[j].fit == Held {
				held += x[j]
			}
		}
		if free < 2 {
			continue
		}
		w := 1 - top
		if h := min(held, 1-held); h > 1e-6 {
			w += 1 + h
		}
		if pick < 0 || w > worth+1e-9 {
			pick, worth = i, w
		}
	}
	if pick < 0 {
		return -1, nil
	}
	return pick, s.halve(pick, x)
}

// halve lists the options of sortie i that go left.
func (s *search) halve(i int, x []float64) []int32 {
	var launched, held []int32
	var xl, xh float64
	for j := s.m.first[i]; j < s.m.first[i+1]; j++ {
		switch {
		case s.off[j]:
		case s.m.opts[j].fit == Held:
			held = append(held, j)
			xh += x[j]
		default:
			launched = append(launched, j)
			xl += x[j]
		}
	}
	if len(launched) > 0 && len(held) > 0 && min(xl, xh) > 1e-6 {
		if xl >= xh {
			return launched
		}
		return held
	}
	all := append(launched, held...)
	slices.Sort(all)
	// The option with the greatest share against the rest.
	best := all[0]
	for _, j := range all {
		if x[j] > x[best]+1e-9 {
			best = j
		}
	}
	return []int32{best}
}

// others are the options of sortie i that are neither excluded nor in left.
func (s *search) others(i int, left []int32) []int32 {
	var out []int32
	for j := s.m.first[i]; j < s.m.first[i+1]; j++ {
		if !s.off[j] && !slices.Contains(left, j) {
			out = append(out, j)
		}
	}
	return out
}
