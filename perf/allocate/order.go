package allocate

// levelNames are the stages of the objective in order of weight, "kept" where the
// problem asks for it.
func (p *Problem) levelNames() []string {
	names := []string{"priority", "units", "expiry_rank", "margin_mm"}
	if k := p.KeepAfter; k > 0 {
		names = append(names[:k:k], append([]string{"kept"}, names[k:]...)...)
	}
	return names
}

// level is one figure of the objective and its sense.
func (o *Objective) level(name string) (value int64, maximise bool) {
	switch name {
	case "priority":
		return o.Priority, true
	case "units":
		return o.Units, false
	case "expiry_rank":
		return o.ExpiryRank, false
	case "margin_mm":
		return o.MarginMM, true
	}
	return o.Kept, true
}

// compare tells which of two choices is better: negative if a is, positive if b
// is, 0 only if they are the same.
func compare(p *Problem, a, b []Choice) int {
	va, vb := Value(p, a), Value(p, b)
	for _, name := range p.levelNames() {
		x, maximise := va.level(name)
		y, _ := vb.level(name)
		if x == y {
			continue
		}
		if (x > y) == maximise {
			return -1
		}
		return 1
	}
	for i := range a {
		x, y := a[i].Fit, b[i].Fit
		if x == y {
			if x == Held && a[i].Spot != b[i].Spot {
				// Both held: the spot listed first.
				g := p.group(p.Sorties[i].Group)
				return spotIndex(g, a[i].Spot) - spotIndex(g, b[i].Spot)
			}
			continue
		}
		if y == Held || (x != Held && x < y) {
			return -1
		}
		return 1
	}
	return 0
}
