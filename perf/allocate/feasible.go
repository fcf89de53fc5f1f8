package allocate

import (
	"fmt"
	"sort"
)

// Check returns every constraint of the problem that the choices break, in
// sentences. It reads the problem as stated and shares nothing with the solver.
func Check(p *Problem, choices []Choice) []string {
	if len(choices) != len(p.Sorties) {
		return []string{fmt.Sprintf("%d choices for %d sorties", len(choices), len(p.Sorties))}
	}
	var broken []string
	fail := func(format string, a ...any) { broken = append(broken, fmt.Sprintf(format, a...)) }

	type event struct {
		at    int64
		units int64
	}
	fitted := make([][]event, len(p.sites()))
	lotUse := make([]int, len(p.Lots))
	carried := make([]int, len(p.Transfers))
	for i, c := range choices {
		s := &p.Sorties[i]
		if c.Fit == Held {
			if s.Must {
				fail("sortie %q must launch and is held", s.ID)
			}
			continue
		}
		if c.Fit < 0 || c.Fit >= len(s.Fits) {
			fail("sortie %q has no fit %d", s.ID, c.Fit)
			continue
		}
		f := &s.Fits[c.Fit]
		at := p.launchS(i, f.Spot)
		for _, d := range f.Draws {
			lotUse[d.Lot] += d.Units
			if p.Lots[d.Lot].Site == s.Site {
				continue
			}
			if t := p.transfer(d.Lot, s.Site, at); t >= 0 {
				carried[t] += d.Units
			} else {
				fail("sortie %q draws from lot %q, which does not reach its site in time", s.ID, p.Lots[d.Lot].ID)
			}
		}
		fitted[s.Site] = append(fitted[s.Site], event{at, int64(f.Units())})
	}

	left := make([]int, len(p.sites()))
	used := make([]int, len(p.sites()))
	for l, use := range lotUse {
		lot := &p.Lots[l]
		if use > 0 && use > lot.Available-lot.Reserve {
			fail("lot %q: %d units drawn, %d available less %d in reserve", lot.ID, use, lot.Available, lot.Reserve)
		}
		left[lot.Site] += lot.Available - use
		used[lot.Site] += use
	}
	for k, site := range p.sites() {
		if used[k] > 0 && left[k] < site.Reserve {
			fail("site %q: %d units left, %d to stay back", site.ID, left[k], site.Reserve)
		}
		if site.Crews == nil {
			continue
		}
		ev := fitted[k]
		sort.SliceStable(ev, func(a, b int) bool { return ev[a].at < ev[b].at })
		for a := range ev {
			sum := int64(0)
			for b := a; b < len(ev); b++ {
				sum += ev[b].units
				need := site.Crews.UnitS * sum
				have := int64(site.Crews.Teams) * (ev[b].at - site.Crews.HoldMinS - ev[a].at + site.Crews.HoldMaxS)
				if need > have {
					fail("site %q: %d units for launches from %d to %d s take %d team-seconds of %d", site.ID, sum, ev[a].at, ev[b].at, need, have)
				}
			}
		}
	}
	for t, n := range carried {
		if n > p.Transfers[t].MaxUnits {
			fail("transfer %d: %d units of %d", t, n, p.Transfers[t].MaxUnits)
		}
	}
	for g := range p.Groups {
		checkGroup(p, &p.Groups[g], choices, fail)
	}
	return broken
}

func checkGroup(p *Problem, g *Group, choices []Choice, fail func(string, ...any)) {
	on := map[string]int{} // spot -> sortie on it
	for i, c := range choices {
		s := &p.Sorties[i]
		if s.Group != g.ID {
			continue
		}
		spot := c.Spot
		if c.Fit >= 0 && c.Fit < len(s.Fits) && s.Fits[c.Fit].Spot != spot {
			fail("sortie %q stands on spot %q with a fit for %q", s.ID, spot, s.Fits[c.Fit].Spot)
		}
		if spot == "" {
			if c.Fit != Held || g.HeldStay {
				fail("sortie %q has no spot in group %q", s.ID, g.ID)
			}
			continue
		}
		sp := g.spot(spot)
		if sp == nil {
			fail("group %q has no spot %q", g.ID, spot)
			continue
		}
		if !sp.takes(s.ID) {
			fail("spot %q does not take sortie %q", spot, s.ID)
		}
		if other, taken := on[spot]; taken {
			fail("sorties %q and %q share spot %q", p.Sorties[other].ID, s.ID, spot)
		}
		on[spot] = i
	}
	for _, nb := range g.Neighbours {
		a, okA := on[nb.A]
		b, okB := on[nb.B]
		if okA && okB && p.Sorties[a].HalfSpanMM+p.Sorties[b].HalfSpanMM > nb.GapMM {
			fail("sorties %q and %q are too wide for spots %q and %q", p.Sorties[a].ID, p.Sorties[b].ID, nb.A, nb.B)
		}
	}
	for s := range g.Spots {
		back, okB := on[g.Spots[s].ID]
		front, okF := on[g.Spots[s].Behind]
		if okB && okF && g.HeldStay && choices[back].Fit != Held && choices[front].Fit == Held {
			fail("sortie %q is held in front of sortie %q", p.Sorties[front].ID, p.Sorties[back].ID)
		}
	}
}

// Value computes the objective of choices from the problem as stated.
func Value(p *Problem, choices []Choice) Objective {
	var o Objective
	for i, c := range choices {
		s := &p.Sorties[i]
		if c.Fit == Held {
			if s.Keep == "" {
				o.Kept++
			}
			continue
		}
		f := &s.Fits[c.Fit]
		if s.Keep == f.ID {
			o.Kept++
		}
		o.Priority += int64(s.Priority)
		o.MarginMM += min(f.MarginMM, MarginCapMM)
		for _, d := range f.Draws {
			o.Units += int64(d.Units)
			o.ExpiryRank += int64(d.Units) * int64(p.Lots[d.Lot].ExpiryRank)
		}
	}
	return o
}
