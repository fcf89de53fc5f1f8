package allocate

// Cheapest is the fit that would launch a held sortie with the least added, all
// else staying as it is: the fewest units short in all, then the first listed. It
// is false for a launched sortie and for one without fits, whose releases lie
// outside the allocation (more run, more wind, less mass).
//
// What it lacks may be had more cheaply by re-solving; see [Worth].
func (s *SortieWhy) Cheapest() (FitWhy, bool) {
	best, least := -1, int64(0)
	for k := range s.Fits {
		if s.Fits[k].Chosen {
			return FitWhy{}, false
		}
		short := int64(0)
		for _, l := range s.Fits[k].Lacking {
			short += l.Short
		}
		if best < 0 || short < least {
			best, least = k, short
		}
	}
	if best < 0 {
		return FitWhy{}, false
	}
	return s.Fits[best], true
}

// Voided lists the sorties (indices) whose card of the earlier plan ([Sortie.Keep])
// no longer holds: launched then and held or fitted otherwise now.
func Voided(p *Problem, choices []Choice) []int {
	var out []int
	for i, c := range choices {
		s := &p.Sorties[i]
		if s.Keep != "" && (c.Fit == Held || s.Fits[c.Fit].ID != s.Keep) {
			out = append(out, i)
		}
	}
	return out
}
