package allocate

import "sort"

// A verifier evaluates proofs. Its options are all the problem states (every fit,
// and held), unless another one of the same sortie makes them needless.
type verifier struct {
	p     *Problem
	opts  [][]proofOption // of each sortie
	first []int           // index of a sortie's first option among all
	total int
	names []string
	rows  []checkedRow
}

type proofOption struct {
	ProofOption
	level []int64 // greater is better
	at    int64   // launch time
	units int64
}

func newVerifier(p *Problem) *verifier {
	v := &verifier{p: p, names: p.levelNames()}
	for i := range p.Sorties {
		s := &p.Sorties[i]
		g := p.group(s.Group)
		var set []proofOption
		for f := range s.Fits {
			o := proofOption{ProofOption: ProofOption{int32(f), -1}, at: p.launchS(i, s.Fits[f].Spot), units: int64(s.Fits[f].Units())}
			if g != nil {
				for sp := range g.Spots {
					if g.Spots[sp].ID == s.Fits[f].Spot {
						o.Spot = int32(sp)
					}
				}
			}
			if !v.impossible(i, &o) {
				set = append(set, o)
			}
		}
		switch {
		case s.Must:
		case g != nil && g.HeldStay:
			for sp := range g.Spots {
				if g.Spots[sp].takes(s.ID) {
					set = append(set, proofOption{ProofOption: ProofOption{Held, int32(sp)}})
				}
			}
		default:
			set = append(set, proofOption{ProofOption: ProofOption{Held, -1}})
		}
		for k := range set {
			set[k].level = v.levels(i, &set[k])
		}
		set = v.needed(i, set)
		v.opts = append(v.opts, set)
		v.first = append(v.first, v.total)
		v.total += len(set)
	}
	return v
}

// impossible says that a fit breaks the problem whatever else is chosen.
func (v *verifier) impossible(i int, o *proofOption) bool {
	s := &v.p.Sorties[i]
	if o.Spot >= 0 && !v.p.group(s.Group).Spots[o.Spot].takes(s.ID) {
		return true
	}
	for _, d := range s.Fits[o.Fit].Draws {
		lot := v.p.Lots[d.Lot]
		if d.Units > lot.Available-lot.Reserve {
			return true
		}
		if lot.Site == s.Site {
			continue
		}
		if t := v.p.transfer(d.Lot, s.Site, o.at); t < 0 || d.Units > v.p.Transfers[t].MaxUnits {
			return true
		}
	}
	c := v.p.sites()[s.Site].Crews
	return c != nil && o.units*c.UnitS > int64(c.Teams)*(c.HoldMaxS-c.HoldMinS)
}

func (v *verifier) levels(i int, o *proofOption) []int64 {
	// What one sortie adds is the value of a choice in which it alone is chosen.
	choices := []Choice{{Fit: int(o.Fit)}}
	alone := Problem{Lots: v.p.Lots, Sorties: v.p.Sorties[i : i+1]}
	val := Value(&alone, choices)
	out := make([]int64, len(v.names))
	for k, name := range v.names {
		x, maximise := val.level(name)
		if !maximise {
			x = -x
		}
		out[k] = x
	}
	return out
}

// needed drops an option when another is at least as good, wants nothing more
// and is preferred. Going from best to worst, those that stay are enough to ask.
func (v *verifier) needed(i int, set []proofOption) []proofOption {
	order := make([]int, len(set))
	for k := range order {
		order[k] = k
	}
	sort.SliceStable(order, func(a, b int) bool {
		x, y := set[order[a]].level, set[order[b]].level
		for k := range x {
			if x[k] != y[k] {
				return x[k] > y[k]
			}
		}
		return false
	})
	keep := make([]bool, len(set))
	var kept []int
	for _, a := range order {
		keep[a] = true
		for _, b := range kept {
			if v.replaces(i, &set[b], &set[a]) {
				keep[a] = false
				break
			}
		}
		if keep[a] {
			kept = append(kept, a)
		}
	}
	var out []proofOption
	for k := range set {
		if keep[k] {
			out = append(out, set[k])
		}
	}
	return out
}

// replaces says that b, as good as a or better, wants nothing that a does not want.
func (v *verifier) replaces(i int, b, a *proofOption) bool {
	if b.Spot >= 0 && b.Spot != a.Spot {
		return false
	}
	// Launched wants the way in front clear, held is in the way of those behind.
	if g := v.p.group(v.p.Sorties[i].Group); g != nil && g.HeldStay && (a.Fit == Held) != (b.Fit == Held) {
		for sp := range g.Spots {
			if b.Fit != Held && sp == int(b.Spot) && g.Spots[sp].Behind != "" {
				return false
			}
			if b.Fit == Held && g.Spots[sp].Behind == g.Spots[b.Spot].ID {
				return false
			}
		}
	}
	if b.units > 0 && b.at != a.at {
		return false
	}
	if b.Fit == Held {
		return true
	}
	if a.Fit == Held {
		return b.units == 0
	}
	for _, d := range v.p.Sorties[i].Fits[b.Fit].Draws {
		enough := false
		for _, e := range v.p.Sorties[i].Fits[a.Fit].Draws {
			enough = enough || (e.Lot == d.Lot && e.Units >= d.Units)
		}
		if !enough {
			return false
		}
	}
	return true
}
