package allocate

// enumerate tries every combination of fits and returns the best. It is the
// definition of the answer, for tiny problems.
func enumerate(p *Problem) []Choice {
	var best []Choice
	now := make([]Choice, len(p.Sorties))
	var walk func(i int)
	walk = func(i int) {
		if i == len(now) {
			if len(Check(p, now)) == 0 && (best == nil || compare(p, now, best) < 0) {
				best = append([]Choice(nil), now...)
			}
			return
		}
		s := &p.Sorties[i]
		for f := range s.Fits {
			now[i] = Choice{Fit: f}
			if s.Group != "" {
				now[i].Spot = s.Fits[f].Spot
			}
			walk(i + 1)
		}
		now[i] = Choice{Fit: Held}
		walk(i + 1)
		if g := p.group(s.Group); g != nil && g.HeldStay {
			for sp := range g.Spots {
				now[i] = Choice{Fit: Held, Spot: g.Spots[sp].ID}
				walk(i + 1)
			}
		}
	}
	walk(0)
	return best
}
